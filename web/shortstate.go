package web

import (
	"math"
	"time"

	"padlark/flight"
	"padlark/flight/phrase"
)

// shortState is the state with its numbers rounded to what a person or a plot
// can use (1 mm, 1 mm/s, 1 ms, 1 mV): the live stream carries it up to twenty
// times a second to each viewer. Nothing in it points to what the state points to:
// that is the engine's own and changes with the next sample.
func shortState(s *flight.State) *flight.State {
	c := *s
	for _, p := range []**float64{
		&c.AltitudeM, &c.AltitudeSD, &c.SpeedMps, &c.SpeedSD, &c.AccelMps2, &c.HighestM,
		&c.ToApogeeS, &c.ToApogeeSD, &c.PredictedM, &c.PredictedSD, &c.CellV,
	} {
		*p = rounded(*p, 1e3)
	}
	for _, p := range []**float64{&c.ReleaseUs, &c.RSSIDbm, &c.PressurePa, &c.TempC} {
		*p = rounded(*p, 10)
	}
	c.Latitude, c.Longitude = rounded(c.Latitude, 1e7), rounded(c.Longitude, 1e7)
	c.Position, c.Landing = shortPosition(s.Position, 10, 1e7), shortLanding(s.Landing, 10, 1e7)
	c.VentPart, c.VentSD = nil, nil // no page shows them
	if s.Armed != nil {
		armed := *s.Armed
		c.Armed = &armed
	}
	c.At, c.Heard = writable(c.At), writable(c.Heard)
	if c.NotYet == nil {
		c.NotYet = []string{}
	}
	if c.NotYetPhrases == nil {
		c.NotYetPhrases = []phrase.Phrase{}
	}
	return &c
}

// shortPosition is to 1/scale m and degrees, latitude and longitude to 1/fine
// degrees; nil where a number in it is none.
func shortPosition(p *flight.Position, scale, fine float64) *flight.Position {
	if p == nil {
		return nil
	}
	c := *p
	c.ElevationDeg = rounded(p.ElevationDeg, scale)
	c.LatitudeDeg, c.LongitudeDeg = rounded(p.LatitudeDeg, fine), rounded(p.LongitudeDeg, fine)
	if !roundAll(scale, &c.RangeM, &c.BearingDeg, &c.EastM, &c.NorthM, &c.SDM) {
		return nil
	}
	return &c
}

func shortLanding(l *flight.Landing, scale, fine float64) *flight.Landing {
	if l == nil {
		return nil
	}
	c := *l
	c.LatitudeDeg, c.LongitudeDeg = rounded(l.LatitudeDeg, fine), rounded(l.LongitudeDeg, fine)
	if !roundAll(scale, &c.RangeM, &c.BearingDeg, &c.EastM, &c.NorthM, &c.AlongM, &c.AcrossM, &c.AngleDeg) {
		return nil
	}
	return &c
}

// roundAll rounds numbers to 1/scale in place; false if one of them is none.
func roundAll(scale float64, all ...*float64) bool {
	for _, p := range all {
		v := rounded(p, scale)
		if v == nil {
			return false
		}
		*p = *v
	}
	return true
}

// writable is a time to the millisecond, within the years that RFC 3339 can
// write (0000 to 9999): with one outside, nothing of the state could be sent.
func writable(t time.Time) time.Time {
	t = t.Truncate(time.Millisecond).UTC()
	switch {
	case t.Year() < 0:
		return time.Date(0, 1, 1, 0, 0, 0, 0, time.UTC)
	case t.Year() > 9999:
		return time.Date(9999, 12, 31, 23, 59, 59, 0, time.UTC)
	}
	return t
}

// rounded is p to 1/scale; nil where p is not a finite number, or too large for
// the rounding to leave it one.
func rounded(p *float64, scale float64) *float64 {
	if p == nil {
		return nil
	}
	return number(math.Round(*p*scale) / scale)
}

// trace is a rocket's height over the last two minutes, one point each half
// second at most; in between the height furthest from the last point is kept,
// so that a short peak does not fall through.
type trace struct {
	t      []int64 // Unix ms
	h      []float64
	landed time.Time // when it came down; zero while it has not
}

// groundAfter is how much of the ground a trace shows after a landing: then it
// stands still, so that the flight stays in sight.
const groundAfter = 3 * time.Second

func (r *trace) add(s *flight.State) {
	switch {
	case s.Phase != flight.Landed:
		r.landed = time.Time{}
	case r.landed.IsZero():
		r.landed = s.At
	case s.At.Sub(r.landed) > groundAfter:
		return
	}
	if s.AltitudeM == nil || math.IsNaN(*s.AltitudeM) || math.IsInf(*s.AltitudeM, 0) {
		return
	}
	t, h := s.At.UnixMilli(), math.Round(*s.AltitudeM*10)/10
	n := len(r.t)
	if n > 0 && t < r.t[n-1] {
		r.t, r.h, n = r.t[:0], r.h[:0], 0 // time fell back: a seek, or a new session
	}
	if n > 1 && t-r.t[n-2] < traceEvery.Milliseconds() {
		if math.Abs(h-r.h[n-2]) >= math.Abs(r.h[n-1]-r.h[n-2]) {
			r.t[n-1], r.h[n-1] = t, h
		}
		return
	}
	r.t, r.h = append(r.t, t), append(r.h, h)
	if len(r.t) > keepTrace {
		r.t = append(r.t[:0], r.t[1:]...)
		r.h = append(r.h[:0], r.h[1:]...)
	}
}

// traceView is a trace as the live stream sends it first.
type traceView struct {
	T []int64   `json:"t_ms"`
	H []float64 `json:"height_m"`
}

func (r *trace) view() traceView {
	return traceView{append([]int64{}, r.t...), append([]float64{}, r.h...)}
}
