package model

import (
	"math"
	"sort"

	"padlark/flight"
)

// Point is a rocket at one time. SI units; heights above the pad.
type Point struct {
	T      float64 // s since liftoff
	Height float64 // m above the pad
	Speed  float64 // vertical, up positive, m/s
	Accel  float64 // vertical, of the motion, m/s2: -9.8 in free fall, 0 at rest
	Drift  float64 // m along the plane of tilt and wind
	Sweep  float64 // m/s, the rate of Drift
	Mass   float64 // kg, with water, air and propellant that are still in
	// Pressure is the absolute pressure in the bottle in Pa; that of the air at
	// the pad once it is empty and for a motor.
	Pressure float64
	Thrust   float64 // N
	Phase    flight.Phase
}

// Mark is a point at which something happened; Seen says whether it did.
type Mark struct {
	Seen bool
	Point
}

// Marks are what happened in a flight, by time.
type Marks struct {
	Liftoff   Mark // the first motion
	RailExit  Mark // the guided length is used up
	WaterOut  Mark // not for a motor
	Burnout   Mark // no thrust any more
	Apogee    Mark
	Release   Mark // the canopy is let out
	Touchdown Mark
}

// Trajectory is one flight. It is not changed after Fly has returned it, so it
// may be read from several goroutines.
type Trajectory struct {
	Marks Marks
	// MaxSpeed is the greatest vertical speed in m/s and when it was in s;
	// MaxAccel the greatest vertical acceleration in m/s2.
	MaxSpeed, MaxSpeedT, MaxAccel float64
	// MaxPush is the greatest acceleration along the path of a climb, in m/s2: a
	// tilted rocket is pushed across too.
	MaxPush float64

	setup    *setup
	segments []segment
}

// segment is one step of the integrator.
type segment struct {
	t, h float64
	mode mode
	y    dense
}

// Ignition is when the motor was lit, in s: 0 or negative; 0 for water rockets.
func (tr *Trajectory) Ignition() float64 {
	if tr.setup == nil {
		return 0
	}
	return -tr.setup.motorLead
}

// Duration is the time from liftoff to touchdown in s.
func (tr *Trajectory) Duration() float64 { return tr.Marks.Touchdown.T }

// At gives the state t seconds after liftoff: at rest on the pad before, at
// rest on the ground after touchdown.
func (tr *Trajectory) At(t float64) Point {
	if t < 0 || len(tr.segments) == 0 || math.IsNaN(t) {
		p := tr.Marks.Liftoff.Point
		p.T, p.Accel, p.Thrust, p.Phase = t, 0, 0, flight.Waiting
		return p
	}
	if t >= tr.Marks.Touchdown.T {
		p := tr.Marks.Touchdown.Point
		p.T, p.Speed, p.Accel, p.Sweep, p.Height = t, 0, 0, 0, 0
		return p
	}
	i := sort.Search(len(tr.segments), func(i int) bool { return tr.segments[i].t > t }) - 1
	sg := &tr.segments[max(i, 0)]
	y := sg.y.at(math.Min((t-sg.t)/sg.h, 1))
	return tr.setup.point(sg.mode, t, &y, tr.phase(t))
}

func (tr *Trajectory) phase(t float64) flight.Phase {
	m := &tr.Marks
	switch {
	case t >= m.Touchdown.T:
		return flight.Landed
	case t >= m.Apogee.T:
		// Also when a weak jet still blows.
		return flight.Descent
	case t >= m.Burnout.T:
		return flight.Coast
	}
	return flight.Boost
}

// point completes a state with what follows from it.
func (s *setup) point(m mode, t float64, y *state, ph flight.Phase) Point {
	f := forces{setup: s, mode: m}
	var dy state
	f.slope(t, y, &dy)
	ld := s.loadAt(m, t, y, 0)
	return Point{
		T: t, Height: y[iZ], Speed: y[iVZ], Accel: dy[iVZ], Drift: y[iX], Sweep: y[iVX],
		Mass: ld.mass, Pressure: ld.pressure, Thrust: ld.thrust, Phase: ph,
	}
}

// note keeps the extremes at the end of a step. Under thrust the acceleration is
// that along a tilted path too; later what counts is how a canopy jerks upwards.
func (tr *Trajectory) note(m mode, y, dy *state, t float64) {
	if y[iVZ] > tr.MaxSpeed {
		tr.MaxSpeed, tr.MaxSpeedT = y[iVZ], t
	}
	tr.MaxAccel = math.Max(tr.MaxAccel, dy[iVZ])
	if dy[iVZ] > 0 && y[iVZ] > 0 {
		tr.MaxPush = math.Max(tr.MaxPush, math.Hypot(dy[iVX], dy[iVZ]))
	}
}

// finish refines the greatest speed, which can fall within a step while the
// last air leaves, and closes the phases.
func (tr *Trajectory) finish() {
	for i := range tr.segments {
		sg := &tr.segments[i]
		if sg.t > tr.MaxSpeedT+1e-9 || sg.t+sg.h < tr.MaxSpeedT-1e-9 {
			continue
		}
		for j := 1; j < 16; j++ {
			u := float64(j) / 16
			if y := sg.y.at(u); y[iVZ] > tr.MaxSpeed {
				tr.MaxSpeed, tr.MaxSpeedT = y[iVZ], sg.t+u*sg.h
			}
		}
	}
	m := &tr.Marks
	for _, k := range []*Mark{&m.Liftoff, &m.RailExit, &m.WaterOut, &m.Burnout, &m.Apogee, &m.Release, &m.Touchdown} {
		if k.Seen {
			k.Phase = tr.phase(k.T)
		}
	}
}
