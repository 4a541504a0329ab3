package alarm

import (
	"math"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/phrase"
)

// bottlePa is the channel for a pressure gauge on the bottle or the launcher,
// gauge pressure in Pa, for those who have one.
const bottlePa = "bottle_pa"

// noLiftoff: something happened on the pad that looks like a launch - the
// bottle lost its pressure, the rocket was jolted, the barometer felt a blow -
// and no liftoff followed.
type noLiftoff struct {
	bottle   float64 // the highest gauge pressure of late, Pa
	bottleAt float64
	level    smoothed // pressure before the blow
	spread   smoothed // mean distance of the readings from level
	blows    int
	pressed  bool // the blow was upward in pressure
	blowAt   since
	hintAt   float64
	hint     phrase.Phrase
	hinted   bool
	waitS    float64 // s, how long the liftoff may take
	until    float64
}

func (r *noLiftoff) check(v *view) cond {
	if v.phase != flight.Waiting {
		*r = noLiftoff{}
		return off
	}
	if v.anew == v.t {
		*r = noLiftoff{until: r.until}
	}
	if v.fresh {
		if what := r.evidence(v); !what.None() && !r.hinted && v.t-v.first > learnS {
			r.hinted, r.hintAt, r.hint, r.waitS = true, v.t, what, v.limits.DumpWaitS+4*v.self.link.gap.value // a slow board tells late that it left
			if r.pressed {
				r.waitS += ramS
			}
		}
	}
	if r.hinted && v.t-r.hintAt > r.waitS {
		r.hinted = false
		r.until = v.t + 20
	}
	return asCond(v.t < r.until)
}

// evidence gives what looked like a launch in this sample.
func (r *noLiftoff) evidence(v *view) phrase.Phrase {
	if p := v.get(bottlePa); !math.IsNaN(p) {
		if p >= r.bottle || v.t-r.bottleAt > 5 {
			r.bottle, r.bottleAt = p, v.t
		}
		if r.bottle-p > 1e5 && p < 0.6*r.bottle {
			drop := phrase.Of("no-liftoff.bottle", phrase.Qty("from", r.bottle/1e5, 1, "bar"), phrase.Qty("to", p/1e5, 1, "bar"))
			r.bottle = p
			return drop
		}
	}
	if a := v.get(decode.AccelMps2); !math.IsNaN(a) && math.Abs(a-gravity) > v.limits.JoltMps2 {
		return phrase.Of("no-liftoff.jolt", phrase.Qty("accel", a, 0, "m/s2"))
	}
	return r.blow(v)
}

// blow recognises a pressure pulse on the pad: several readings in a row far
// above the noise. A single one is an outlier.
func (r *noLiftoff) blow(v *view) (felt phrase.Phrase) {
	p := v.get(decode.PressurePa)
	if math.IsNaN(p) {
		return felt
	}
	d := p - r.level.value
	noise := math.Max(r.spread.value, 5)
	if r.level.started && math.Abs(d) > 8*noise && math.Abs(d) > blowPa {
		r.blows++
		if r.blows > 20 || r.blows >= 4 && v.t-v.first < learnS { // it is the level, and what was taken for it was none
			r.level.value, r.blows = p, 0
			r.blowAt.hold(v.t, false)
			return felt
		}
		if r.blows >= 3 && r.blowAt.hold(v.t, true) > 0.05 {
			r.pressed = d > 0
			return phrase.Of("no-liftoff.blow", phrase.Qty("blow", d, 0, "Pa"))
		}
		r.blowAt.hold(v.t, true)
		return felt
	}
	r.blows = 0
	r.blowAt.hold(v.t, false)
	if r.level.started {
		r.spread.add(v.t, math.Abs(d), 2)
	}
	r.level.add(v.t, p, 2)
	return felt
}

// ramS is how much longer the liftoff may take after a blow that raises the pressure, in
// s: at some vents a fast climb does, until the speed is spent.
const ramS = 1.5

// learnS is how long after the first sample the level is still being learnt, in s.
const learnS = 3

// blowPa is the least pressure pulse that counts, in Pa: about 8 m of height,
// far above gusts (common practice, no source).
const blowPa = 100

func (r *noLiftoff) words(v *view) words {
	return words{prioAct, v.tell("no-liftoff.say"), v.tell("no-liftoff", phrase.In("hint", r.hint), seconds("ago", v.t-r.hintAt, 0))}
}
