package track

import (
	"math"

	"padlark/flight"
)

// What tells a board that is first heard while it comes down from one on the
// ground that is being carried.
const (
	firstHeardS = 15.0 // s after the first sample
	fallSpanS   = 4.0  // s of even falling
	fallM       = 9.0  // m that it falls in them: no gust does
)

// findFalling looks, in the first seconds of a board, for one that is already
// coming down: the station was switched on late, or the board was out of
// reach. Its pad is not known then, and so neither is its height.
func (t *Tracker) findFalling(r *reading) bool {
	if r.t > firstHeardS || t.out.Flight > 0 || r.t < fallSpanS {
		return false
	}
	n := t.hist.since(r.t - fallSpanS)
	if n < 8 || r.t-t.hist.at(n-1).t < 0.8*fallSpanS {
		return false
	}
	// The medians below cost: look only when it may be worth it.
	if t.hist.at(n/8).z > t.hist.at(n-1-n/8).z-fallM/2 {
		return false
	}
	base := r.z
	for i := range n {
		x := t.hist.at(i)
		x.h = t.col.height(x.z - base)
	}
	sd := math.Sqrt(t.noise())
	a := t.hist.fit(0, n, 0, max(1.5*sd, 0.4))
	if a.used < 0.85 || a.v > -fallM/fallSpanS-6*a.sdV || a.rms > 1.5*sd+0.3 {
		return false
	}
	t.beginFalling(r, &a)
	return true
}

// beginFalling starts a flight of which only the end is heard.
func (t *Tracker) beginFalling(r *reading, a *arc) {
	nan := math.NaN()
	t.flying = true
	t.out.Flight++
	t.out.Phase = flight.Descent
	t.fl = flightNow{level: r.z, sdPad: math.Inf(1), liftoff: a.end - fallSpanS - 1, start: a.end - fallSpanS - 1,
		burntOut: true, apogee: true, apogeeAt: a.end - fallSpanS, released: true, canopyAt: nan, lostSince: nan,
		falling: nan, climbsOn: nan, early: 1, inAir: true}
	t.fl.gust = t.pad.gusts(usualGust, t.step())
	t.filter.gust = airGust * t.fl.gust
	t.filter.noise = t.noise()
	t.filter.restart(r.t, a.h, a.v, a.sdH*a.sdH, a.sdV*a.sdV+0.1, [modes]float64{1e-6, 0.3, 0.7})
}
