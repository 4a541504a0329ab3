package model

import (
	"math"
	"testing"
)

// plum flies on a small motor of our own invention: 10 N s in 1.6 s with a peak
// at the start.
func plum() (Rocket, Launch) {
	return Rocket{
		Dry: 0.080, Diameter: 0.026, Cd: 0.6, Parachute: 0.3, Release: Release{AfterApogee, 0.5},
		Motor: &Motor{
			Curve:      []Thrust{{0, 0}, {0.15, 2}, {0.3, 14}, {0.4, 6}, {1.5, 5}, {1.6, 0}},
			Propellant: 0.0125, Total: 0.0245,
		},
	}, Launch{Rail: 1}
}

// TestRocketEquation: without gravity and drag the speed is that of the rocket
// equation, whatever the shape of the curve: I/mp ln(m0/m1).
func TestRocketEquation(t *testing.T) {
	r, l := plum()
	l.Rail = 0
	s, err := newSetup(r, l, ideal{noGravity: true, noDrag: true})
	if err != nil {
		t.Fatal(err)
	}
	p := pilot{forces: forces{setup: s}, tol: exact}
	p.tr.setup = s
	p.mode = p.firstMode()
	if err := p.boost(); err != nil {
		t.Fatal(err)
	}
	// Areas of the trapezia by hand.
	const impulse = 0.15 + 1.2 + 1.0 + 6.05 + 0.25
	near(t, "impulse", s.impulse[len(s.impulse)-1], impulse, 1e-12)
	m0, m1 := r.Dry+r.Motor.Total, r.Dry+r.Motor.Total-r.Motor.Propellant
	near(t, "speed", p.y[iVZ], impulse/r.Motor.Propellant*math.Log(m0/m1), 1e-9)
	near(t, "time", p.t, 1.6, 1e-12)
}

// TestMotorLiftoff: the rocket stays on the pad until the thrust is the weight;
// the time of that is the crossing of two straight lines, worked out here.
func TestMotorLiftoff(t *testing.T) {
	r, l := plum()
	tr := fly1(t, r, l, ideal{})
	lead := -tr.Ignition()
	// 0.1045 kg weigh 1.0248 N; the first piece rises by 2 N in 0.15 s. The mass
	// burnt until then moves the time by less than a part in a thousand.
	near(t, "time from ignition to liftoff", lead, 1.0248/2*0.15, 1e-3)
	near(t, "burn time", tr.Marks.Burnout.T, 1.6-lead, 1e-12)
	near(t, "mass after", tr.Marks.Burnout.Mass, 0.092, 1e-12)
	if tr.Marks.WaterOut.Seen || !tr.Marks.RailExit.Seen {
		t.Errorf("water out seen %v, rail exit seen %v", tr.Marks.WaterOut.Seen, tr.Marks.RailExit.Seen)
	}
	near(t, "height where the rail ends", tr.Marks.RailExit.Height, 1, 1e-9)
	if a := tr.Marks.Apogee.Height; a < 150 || a > 400 {
		t.Errorf("apogee %g m", a)
	}
}

// TestMotorWithoutRail: where nothing guides it, the thrust that just lifts the
// rocket pushes it the way it stands, and not the way in which rounding or a
// light tilt moved it first. It loses only what the path bends more.
func TestMotorWithoutRail(t *testing.T) {
	for _, tilt := range []float64{0, 0.03, -0.1} {
		for _, wind := range []float64{0, 3} {
			for _, start := range [][]Thrust{{{0, 0}, {0.15, 14}}, {{0, 0}, {0.15, 2}, {0.3, 14}}, {{0, 14}, {0.3, 14}}} {
				r, l := plum()
				l.Tilt, l.Wind = tilt, wind
				r.Motor.Curve = append(start, Thrust{0.4, 6}, Thrust{1.5, 5}, Thrust{1.6, 0})
				guided, err := Fly(r, l)
				if err != nil {
					t.Fatal(err)
				}
				l.Rail = 0
				free, err := Fly(r, l)
				if err != nil {
					t.Fatalf("tilt %g, wind %g, %v: %v", tilt, wind, start, err)
				}
				lost := 1 - free.Marks.Apogee.Height/guided.Marks.Apogee.Height
				if lost < -1e-3 || lost > 0.01+20*tilt*tilt {
					t.Errorf("tilt %g, wind %g, %v: apogee %.1f m without a rail, %.1f m with it", tilt, wind, start,
						free.Marks.Apogee.Height, guided.Marks.Apogee.Height)
				}
			}
		}
	}
}

func TestMotorErrors(t *testing.T) {
	for _, c := range []struct {
		name string
		edit func(*Rocket)
		want string
	}{
		{"one point", func(r *Rocket) { r.Motor.Curve = r.Motor.Curve[:1] },
			"check rocket: thrust curve has 1 points: give 2 to 1000"},
		{"not in order", func(r *Rocket) { r.Motor.Curve[2].T = 0.1 },
			"check rocket: thrust curve point 3 is at 0.1 s, not after 0.15 s: give the points in order of time"},
		{"negative", func(r *Rocket) { r.Motor.Curve[2].N = -1 },
			"check rocket: thrust curve point 3 is (0.3 s, -1 N): give 0 to 60 s and 0 to 10000 N"},
		{"no thrust", func(r *Rocket) { r.Motor.Curve = []Thrust{{0, 0}, {1, 0}} },
			"check rocket: thrust curve has no impulse: give the thrust in newtons"},
		{"masses", func(r *Rocket) { r.Motor.Total = 0.01 },
			"check rocket: motor masses are 0.0125 kg of propellant in 0.01 kg: give both in kg, the total with the propellant"},
		{"too heavy", func(r *Rocket) { r.Dry = 2 },
			"leave the pad: the motor gives at most 14.00 N but the rocket weighs 19.85 N"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r, l := plum()
			m := *r.Motor
			m.Curve = append([]Thrust(nil), m.Curve...)
			r.Motor = &m
			c.edit(&r)
			_, err := Fly(r, l)
			if err == nil {
				err = errNone
			}
			if err.Error() != c.want {
				t.Errorf("got  %v\nwant %s", err, c.want)
			}
		})
	}
}
