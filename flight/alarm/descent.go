package alarm

import (
	"math"

	"padlark/flight"
	"padlark/flight/phrase"
)

// sinkWatch is the mean sink rate under the parachute, in m/s, over a window
// that starts once the parachute had time to open.
type sinkWatch struct {
	mean  smoothed
	since float64
}

// step gives the mean sink rate over about so many seconds; ok is false while it
// cannot be judged.
func (w *sinkWatch) step(v *view, overS float64) (mean float64, ok bool) {
	if v.phase != "descent" || math.IsNaN(v.apogeeAt) || math.IsNaN(v.speed) || !v.deployed() {
		*w = sinkWatch{}
		return 0, false
	}
	if !w.mean.started {
		w.since = v.t
	}
	if v.fresh {
		w.mean.add(v.t, v.sink(), math.Min(overS, math.Max(fastOverS, v.t-w.since))) // at first the plain mean
	}
	return w.mean.value, v.t-w.since > math.Max(1, overS)
}

// sinceOpen is for how long in s the parachute has had time to open, negative before;
// NaN when it is not known to have been released.
func (v *view) sinceOpen() float64 {
	at := v.releaseAt
	switch {
	case v.rocket.Release == "none", math.IsNaN(at) && v.tellsRelease():
		return math.NaN()
	case math.IsNaN(at):
		at = v.apogeeAt + v.releaseDelay()
	}
	return v.t - math.Max(at, v.apogeeAt) - v.limits.InflateS
}

// deployed says whether the parachute has had time to open.
func (v *view) deployed() bool { return v.sinceOpen() > 0 }

// Over how long the sink rate is taken: where it may hurt, in s; where nothing is
// urgent, so long that the parachute should let it sink by so many times the rms of the
// gusts, which hold it up by half of its speed in one of ten thousand looks.
const fastOverS, slowOver = 0.7, 8.6

// groundM is the height in m below which a fall is over or as good as over.
const groundM = 3

// unseenS is how long, in s, after its parachute should have opened a fall is left to the
// rule for those that nothing brakes: one that may be under a small first parachute may
// never be told from them.
const unseenS = 2.0

// fastDescent: sinking faster than the parachute should let it.
type fastDescent struct {
	watch sinkWatch
	gate  gate
}

func (r *fastDescent) check(v *view) cond {
	mean, ok := r.watch.step(v, fastOverS)
	want := v.parachuteSpeed()
	if !ok || math.IsInf(want, 1) {
		if !v.inFlight() || math.IsInf(want, 1) {
			r.gate = gate{}
			return off
		}
		return asCond(r.gate.state)
	}
	// A fall that nothing brakes is ballistic, not fast, if that is seen in time.
	free, _ := v.freeFall()
	other := v.sink() < v.limits.BallisticShare*free || v.sinceOpen() > unseenS && !v.self.live[kindIndex("ballistic")].Active
	fast := mean > math.Max(v.limits.FastShare*want, v.limits.FastMps) && v.alt > groundM && (r.gate.state || other)
	return r.gate.step(v.t, fast, v.limits.DescentHoldS, 1)
}

func (r *fastDescent) words(v *view) words {
	left := v.alt / math.Max(0.1, r.watch.mean.value)
	return words{prioLookUp, v.tell("fast-descent.say"), v.tell("fast-descent", mps("speed", r.watch.mean.value, 1),
		metres("parachute", v.rocket.ParachuteM, 2), phrase.Qty("mass", 1000*v.rocket.MassKg, 0, "g"),
		mps("expected", v.parachuteSpeed(), 1), seconds("left", left, 0))}
}

// slowDescent: sinking slower than expected, and so drifting further.
type slowDescent struct {
	watch sinkWatch
	gate  gate
	gust  float64 // m rms, that it stood in before it flew
}

func (r *slowDescent) check(v *view) cond {
	if v.phase == flight.Waiting && v.altSD < 2 {
		r.gust = v.altSD
	}
	want := v.parachuteSpeed()
	mean, ok := r.watch.step(v, math.Max(fastOverS, slowOver*r.gust/want))
	if !ok || math.IsInf(want, 1) {
		if !v.inFlight() || math.IsInf(want, 1) {
			r.gate = gate{}
			return off
		}
		return asCond(r.gate.state)
	}
	// Close to the ground it may just be landing.
	high := v.alt > math.Max(5, 2*want)
	return r.gate.step(v.t, high && mean < v.limits.SlowShare*want, v.limits.DescentHoldS, 1)
}

func (r *slowDescent) words(v *view) words {
	left := v.alt / math.Max(0.3, r.watch.mean.value)
	reason := v.tell("slow-descent", mps("speed", r.watch.mean.value, 1), heightAt(v.alt), mps("expected", v.parachuteSpeed(), 1), seconds("left", left, 0))
	if v.site.WindMps > 0 {
		drift := phrase.Of("slow-descent.drift", mps("wind", v.site.WindMps, 0), metres("drift", v.site.WindMps*left, 0))
		reason.Args = append(reason.Args, phrase.In("drift", drift))
	}
	return words{prioKnow, v.tell("slow-descent.say"), reason}
}
