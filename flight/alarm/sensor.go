package alarm

import (
	"math"

	"padlark/flight"
	"padlark/flight/phrase"
)

// sensorStuck: the very same pressure again and again.
type sensorStuck struct{ latched bool }

func (r *sensorStuck) check(v *view) cond {
	p := &v.self.pad
	if !v.fresh {
		return unsure
	}
	held, need := v.t-p.runStart, v.limits.StuckS
	if v.phase == flight.Landed && !r.latched {
		return off // it has done its work; the next flight will tell
	}
	// A coarse sensor in still air repeats itself for long.
	coarse := p.coarse
	if !p.everMoved && p.lastP == math.Round(p.lastP) {
		coarse = coarsePa // a reading that never moved may be one of a coarse sensor
	}
	switch {
	case coarse >= coarsePa && p.moves < knownMoves:
		need *= 20
	case coarse >= coarsePa: // much longer than ever before
		need = math.Max(2*need, math.Min(20*need, 4*p.longest))
	case coarse >= 0.9 || !p.everMoved:
		need *= 2
	}
	r.latched = p.run >= 20 && held > need
	return asCond(r.latched)
}

// coarsePa is the step in Pa from which on a sensor repeats itself for long: the noise
// of a good one is 1 Pa (common practice, no source).
const coarsePa = 3

// knownMoves is how often a coarse sensor must have changed its reading for the longest
// that it keeps one to be known.
const knownMoves = 12

func (r *sensorStuck) words(v *view) words {
	p := &v.self.pad
	return words{prioIf(v.inFlight(), prioLookUp, prioAct), v.tell("sensor-stuck.say"), v.tell("sensor-stuck",
		phrase.Qty("pressure", p.lastP, 1, "Pa"), count("times", p.run), seconds("within", v.t-p.runStart, 1))}
}

// sensorsApart: of two barometers one is not believed.
type sensorsApart struct {
	apart since
	which string
}

// apartS is how long they must disagree, in s: a gust or a frame may differ.
const apartS = 0.5

func (r *sensorsApart) check(v *view) cond {
	if !v.fresh {
		return unsure
	}
	if v.leftOut != "" {
		r.which = v.leftOut
	}
	return asCond(r.apart.hold(v.t, v.leftOut != "") > apartS)
}

func (r *sensorsApart) words(v *view) words {
	return words{prioIf(v.inFlight(), prioKnow, prioAct), v.tell("sensors-apart.say"), v.tell("sensors-apart", phrase.Word("which", r.which))}
}

// sensorNoisy: much more white noise than a good sensor has.
type sensorNoisy struct{ count int }

func (r *sensorNoisy) check(v *view) cond {
	p := &v.self.pad
	// In flight what trembles may be the air, or the rocket itself.
	if !p.whenFilled || v.phase != flight.Waiting || v.self.link.twins(v.t) {
		return unsure
	}
	// So it may before the liftoff is sure: noise leaves the level where it is.
	if p.leaves(v, 2*v.limits.NoiseM) {
		return unsure
	}
	if p.noise > v.limits.NoiseM*v.perMetre() {
		r.count++
	} else if r.count = min(r.count, 3) - 1; r.count < 0 {
		r.count = 0
	}
	need := 2
	if p.filled < sureOf { // the median of a few, in steps at that, errs by half
		need = 3
	}
	if r.count > 0 && r.count < need {
		return unsure
	}
	return asCond(r.count >= need)
}

// sureOf is how many readings of a block tell the noise well.
const sureOf = 30

func (r *sensorNoisy) words(v *view) words {
	p := &v.self.pad
	return words{prioAct, v.tell("sensor-noisy.say"), v.tell("sensor-noisy", phrase.Qty("noise", p.noise, 0, "Pa"),
		metres("moved", p.noise/v.perMetre(), 1), metres("limit", v.limits.NoiseM, 1))}
}

// sensorDrift: the height wanders on the pad.
type sensorDrift struct {
	count int
	seen  int     // blocks in a row that were over the limit
	moved float64 // m
	over  float64 // s
}

func (r *sensorDrift) check(v *view) cond {
	p := &v.self.pad
	if v.phase != flight.Waiting {
		r.count, r.seen = 0, 0
		return off
	}
	if !p.whenFilled || p.block < 3 || v.self.link.twins(v.t) || p.leaves(v, v.limits.DriftM/2) {
		return unsure
	}
	r.moved = 0
	for i := 2; i < min(p.block, padPast); i++ {
		// Two blocks against two: one outlier does not move both.
		d := ((p.past[0].v+p.past[1].v)/2 - p.past[i].v) / v.perMetre()
		if math.Abs(d) > math.Abs(r.moved) {
			r.moved, r.over = -d, p.past[0].t-p.past[i].t
		}
	}
	if math.Abs(r.moved) > v.limits.DriftM {
		// One block alone may be the first seconds of a flight that reads low.
		if r.seen++; r.seen > 1 {
			r.count = 3
		}
	} else if r.seen = 0; r.count > 0 {
		r.count--
	}
	return asCond(r.count > 0)
}

func (r *sensorDrift) words(v *view) words {
	return words{prioAct, v.tell("sensor-drift.say"), v.tell("sensor-drift", metres("moved", r.moved, 1), seconds("within", r.over, 0), metres("limit", v.limits.DriftM, 1))}
}

// sensorCoarse: readings come in steps too coarse for an apogee rule.
type sensorCoarse struct{}

func (r *sensorCoarse) check(v *view) cond {
	p := &v.self.pad
	if v.phase != flight.Waiting {
		return off
	}
	if !p.whenFilled || p.coarseN < coarseSteps || v.self.link.twins(v.t) || p.leaves(v, v.limits.DriftM) {
		return unsure
	}
	return asCond(p.coarse >= v.limits.StepPa)
}

func (r *sensorCoarse) words(v *view) words {
	p := &v.self.pad
	return words{prioAct, v.tell("sensor-coarse.say"), v.tell("sensor-coarse", phrase.Qty("step", p.coarse, 0, "Pa"), metres("height", p.coarse/v.perMetre(), 1))}
}

// rateWrong: samples come faster or slower than the board is meant to send.
type rateWrong struct {
	seq, clock int64
	boot       uint32
	started    bool
	hz         float64
	wrong      int
}

// rateWindow is over how much of the board's own time the rate is measured, us.
const rateWindow = 2e6

func (r *rateWrong) check(v *view) cond {
	if !v.fresh || v.rocket.RateHz <= 0 || v.s.Seq < 0 || v.s.Clock < 0 {
		return unsure
	}
	s := v.s
	if !r.started || s.Boot != r.boot || s.Seq <= r.seq || s.Clock <= r.clock {
		r.started, r.boot, r.seq, r.clock = true, s.Boot, s.Seq, s.Clock
		return unsure
	}
	took := s.Clock - r.clock
	if took < rateWindow {
		return unsure
	}
	r.hz = float64(s.Seq-r.seq) / float64(took) * 1e6
	r.seq, r.clock = s.Seq, s.Clock
	if took > 10*rateWindow { // after silence
		return unsure
	}
	if math.Abs(r.hz/v.rocket.RateHz-1) > v.limits.RateShare {
		r.wrong++
	} else {
		r.wrong = 0
	}
	if r.wrong == 1 {
		return unsure
	}
	return asCond(r.wrong > 1)
}

func (r *rateWrong) words(v *view) words {
	return words{prioIf(v.inFlight(), prioKnow, prioAct), v.tell("rate-wrong.say"), v.tell("rate-wrong", phrase.Qty("rate", r.hz, 1, ""), phrase.Qty("want", v.rocket.RateHz, 0, ""))}
}
