package track

import (
	"math"

	"padlark/flight"
)

// What refutes a called apogee: readings that climb on, well above it. A bump of
// pressure does not climb steadily, and what hangs under a canopy does not climb
// so far.
const (
	refuteS   = 1.0 // s of readings that are looked at
	refuteM   = 6.0 // m above the called apogee
	refuteMps = 4.0
	refuteFor = 0.4 // s for which it must go on
	valleyM   = 2.0 // m, how far below a call the readings may sink before it
)

// refute takes a call of the apogee back when the readings climb on.
func (t *Tracker) refute(r *reading) {
	h := t.fl.calledM
	if t.fl.inAir || r.h < h+refuteM {
		t.fl.climbsOn = math.NaN()
		return
	}
	n := t.hist.since(r.t - refuteS)
	sd := math.Sqrt(t.noise())
	a := t.hist.fit(0, n, -gravity/2, max(2*sd, 1))
	if a.n < 5 || a.used < 0.8 || a.v < refuteMps+4*a.sdV || a.v > 500 || a.h < h+refuteM+4*sd || t.medianOf(n/2, n-n/2) > a.h {
		t.fl.climbsOn = math.NaN()
		return
	}
	if math.IsNaN(t.fl.climbsOn) {
		t.fl.climbsOn = r.t
	}
	if r.t-t.fl.climbsOn < refuteFor {
		return
	}
	t.takeBack(r, &a)
}

// takeBack makes the event and goes on as in the climb.
func (t *Tracker) takeBack(r *reading, a *arc) {
	e := t.event(flight.Withdrawn, t.fl.apogeeAt, 0)
	e.AtSD = nil
	e.AltitudeM = num(t.fl.calledM)
	e.SpeedMps = num(a.v)
	e.Note = "the apogee was called too early: the readings climb on"
	t.emitNow(e, r.t)
	t.fl.calls++
	t.fl.apogee, t.fl.apogeeAt = false, 0
	t.fl.early, t.fl.notBefore = 1, r.t+0.3
	t.fl.climbsOn, t.fl.falling, t.fl.canopyAt, t.fl.lostSince = math.NaN(), math.NaN(), math.NaN(), math.NaN()
	if t.fl.seen { // a release that was only seen in the fall: there was none
		t.fl.seen, t.fl.released = false, false
		t.out.Released = t.last.released
	}
	t.fl.highest, t.fl.highestAt = a.h, r.t
	t.out.Phase = flight.Coast
	if _, v, _, _ := t.filter.mean(); math.Abs(v-a.v) > 5 || t.filter.health < 0.6 {
		t.filter.restart(r.t, a.h, a.v, 4*a.sdH*a.sdH+0.05, 9*a.sdV*a.sdV+4, [modes]float64{0.05, 0.9, 0.05})
	}
}

// seenTop is the highest that the readings since the liftoff stood for a while, when
// it was, and whether there is one: the greatest running median of seven readings, or
// of as many as half a second has. What they sink from and climb again, to the height
// called for the time until, is what speed does to a vent, and none.
func (t *Tracker) seenTop(until, called float64) (at, h float64, ok bool) {
	n := min(t.hist.since(t.fl.liftoff+0.3), historySize)
	k := 7
	for k < maxMedian && k < n && t.hist.at(0).t-t.hist.at(k).t < 0.5 {
		k++
	}
	if n < k {
		return 0, 0, false
	}
	step := max(1, k/7)
	valley, least := math.Inf(1), math.Inf(1) // before the call, and behind the highest so far
	for i := 0; i+k <= n; i += step {
		m, mid := t.medianOf(i, k), t.hist.at(i+k/2).t
		if mid < until {
			least = min(least, m)
		}
		if m > h || !ok {
			at, h, ok, valley = mid, m, true, least
		}
	}
	return at, h, ok && valley > called-valleyM
}
