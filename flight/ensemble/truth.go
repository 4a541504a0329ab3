package ensemble

import "math"

// Truth is what really happened. Times are in s since the flight's Epoch,
// heights in m above the pad. NaN where a thing did not happen.
type Truth struct {
	LiftoffS   float64 // the first motion
	BurnoutS   float64 // the thrust ends
	ApogeeS    float64 // the highest point
	ReleaseS   float64 // the board commands the release
	OpenS      float64 // the parachute is full; NaN if it stays in
	TouchdownS float64 // it lies still

	ApogeeM     float64
	ReleaseM    float64 // height at the release
	RestM       float64 // height at which it lies; 0 on level ground
	MaxSpeedMps float64 // vertical, up
	MaxAccel    float64 // vertical, of the motion, m/s2
	// DescentMps is the mean sink rate, positive, from the full parachute to
	// touchdown.
	DescentMps float64

	// OutS is when the parachute begins to meet the air; FreeS when it comes
	// free, if it was caught at first; SecondS and SecondOpenS when a second one
	// meets the air and is full. With two, DescentMps is that of the second, and
	// FirstMps that between.
	OutS, FreeS, SecondS, SecondOpenS float64
	FirstMps                          float64

	path *truePath
}

// newTruth shifts a path's marks from liftoff to epoch.
func newTruth(p *truePath, liftoff float64) Truth {
	if p == nil || math.IsInf(liftoff, 0) {
		n := math.NaN()
		return Truth{LiftoffS: n, BurnoutS: n, ApogeeS: n, ReleaseS: n, OpenS: n, TouchdownS: n, ReleaseM: n, DescentMps: n,
			OutS: n, FreeS: n, SecondS: n, SecondOpenS: n, FirstMps: n}
	}
	m := p.marks
	t := Truth{
		LiftoffS: liftoff, BurnoutS: liftoff + m.burnout, ApogeeS: liftoff + m.apogee,
		ReleaseS: liftoff + m.release, OpenS: liftoff + m.open, TouchdownS: liftoff + m.touchdown,
		ApogeeM: m.apogeeM, ReleaseM: math.NaN(), RestM: p.rest(), MaxSpeedMps: m.maxSpeed, MaxAccel: m.maxAccel,
		DescentMps: math.NaN(), path: p,
		OutS: liftoff + m.out, FreeS: liftoff + m.free, SecondS: liftoff + m.second, SecondOpenS: liftoff + m.secondOpen,
		FirstMps: math.NaN(),
	}
	c := cursor{path: p}
	if !math.IsNaN(m.release) {
		t.ReleaseM = c.at(m.release).Height
	}
	if math.IsNaN(m.out) && !math.IsNaN(m.open) {
		t.OutS = t.ReleaseS
	}
	full := m.open
	if !math.IsNaN(m.secondOpen) {
		if m.second > m.open {
			t.FirstMps = (c.at(m.open).Height - c.at(m.second).Height) / (m.second - m.open)
		}
		full = m.secondOpen
	}
	if !math.IsNaN(full) && m.touchdown > full {
		t.DescentMps = (c.at(full).Height - p.rest()) / (m.touchdown - full)
	}
	return t
}

// At is the true state s seconds after the flight's Epoch. The time in the
// point is in s since liftoff.
func (t *Truth) At(s float64) Point {
	if t.path == nil {
		return Point{T: math.NaN(), Force: g0}
	}
	c := cursor{path: t.path}
	return c.at(s - t.LiftoffS)
}

// HeightM is the true height in m above the pad, s seconds after the Epoch.
func (t *Truth) HeightM(s float64) float64 { return t.At(s).Height }

// SpeedMps is the true vertical speed, s seconds after the Epoch.
func (t *Truth) SpeedMps(s float64) float64 { return t.At(s).Speed }

// TimeToApogeeS is the time from liftoff to apogee.
func (t *Truth) TimeToApogeeS() float64 { return t.ApogeeS - t.LiftoffS }
