package track

import (
	"math"

	"padlark/decode"
	"padlark/flight"
)

// NoteReleaseSeen is the note of a release that no board told of.
const NoteReleaseSeen = "seen in the sink rate"

// What a descent must do to be that of a parachute.
const (
	sinksMps = 1.0 // m/s
	sinksS   = 0.7 // s
	// What falls faster has no parachute: it tumbles.
	fastestSink = 14.0 // m/s
	// From the release until a parachute brakes so that it shows, s (over the
	// simulated ensemble).
	fillsS, fillsSD = 0.75, 0.35
)

// findCanopy notes when the descent became that of a parachute.
func (t *Tracker) findCanopy(r *reading) {
	w := t.filter.w[canopy]
	if w < 0.5 {
		t.fl.canopyAt = math.NaN()
		return
	}
	if math.IsNaN(t.fl.canopyAt) {
		t.fl.canopyAt = r.t
	}
	if t.fl.released || !t.fl.apogee || w < 0.99 || t.filter.health < 0.6 {
		return
	}
	if r.t-t.fl.canopyAt < sinksS || t.filter.x[canopy][xDrag] < math.Log(gravity/(fastestSink*fastestSink)) {
		return
	}
	// A parachute sinks on; what has hit the ground does not.
	sd := math.Sqrt(t.noise())
	a := t.hist.fit(0, t.hist.since(r.t-sinksS), 0, max(sd, 0.3))
	if a.n < 3 || a.v > -sinksMps || a.v > -3*a.sdV {
		return
	}
	e := t.event(flight.Release, t.fl.canopyAt-fillsS, fillsSD)
	e.Note = NoteReleaseSeen
	t.fl.seen = true
	t.release(e, r.t)
}

// watchRelease looks at what the board tells of its release.
func (t *Tracker) watchRelease(s *decode.Sample, now float64) {
	note := ""
	on, has := s.Values.Get(decode.ReleaseOn)
	switch {
	case has:
		t.last.tells = true
		if on > 0.5 {
			note = "told by the board"
		}
	case t.servoOpen(s):
		note = "told by the servo pulse"
	}
	rises := note != "" && !t.last.released
	t.last.released = note != ""
	if note != "" {
		t.out.Released = true
	} else if !t.flying {
		// After the landing it tells of the flight that is over: a release that was
		// seen is not taken back because the servo has closed again.
		t.out.Released = t.out.Phase == flight.Landed && t.fl.released
	}
	if !rises || !t.flying || t.fl.released {
		return
	}
	gap := 0.02
	if t.hist.n > 1 {
		gap = t.hist.at(0).t - t.hist.at(1).t
	}
	e := t.event(flight.Release, now-gap/2, max(gap, 0.001)/math.Sqrt(12))
	e.Note = note
	t.release(e, now)
}

// servoOpen compares the servo pulse with its rest position, configured or as
// it was on the pad.
func (t *Tracker) servoOpen(s *decode.Sample) bool {
	us, ok := s.Values.Get(decode.ReleaseUs)
	if !ok {
		return false
	}
	rest, open := t.cfg.Rocket.ReleaseRestUs, t.cfg.Rocket.ReleaseOpenUs
	if rest > 0 && open > 0 {
		return math.Abs(us-open) < math.Abs(us-rest)
	}
	if !t.flying || math.IsNaN(t.last.restUs) {
		t.last.restUs = us
		return false
	}
	return math.Abs(us-t.last.restUs) > 200
}

func (t *Tracker) release(e flight.Event, now float64) {
	t.fl.released = true
	t.out.Released = true
	t.emitNow(e, now)
}
