package model

import (
	"errors"
	"math"
	"testing"
)

// thrown sends a body of the reference case upwards in air of even density and
// returns the marks of its way up and down.
func thrown(t *testing.T, speed, height, area float64) *pilot {
	t.Helper()
	r, l := caseA()
	s, err := newSetup(r, l, ideal{noGasMass: true}) // the closed forms know of no air in a bottle
	if err != nil {
		t.Fatal(err)
	}
	s.lapseK, s.rho0 = 0, 1.225
	if area > 0 {
		s.bodyArea = area
	}
	p := &pilot{forces: forces{setup: s}, tol: exact}
	p.tr.setup = s
	p.mode = mode{stage: ballistic}
	p.y[iVZ], p.y[iZ] = speed, height
	if speed <= 0 {
		p.tr.Marks.Apogee = Mark{Seen: true}
	}
	if err := p.fall(); err != nil {
		t.Fatal(err)
	}
	return p
}

// TestCoast compares with the closed form of vertical flight with quadratic
// drag: h = vt^2/2g ln(1+v0^2/vt^2), t = vt/g arctan(v0/vt), back at
// v0/sqrt(1+v0^2/vt^2). Definition of the terminal velocity as on NASA Glenn's
// page "Flight Equations with Drag"; formulas from memory, numbers computed.
func TestCoast(t *testing.T) {
	for _, c := range []struct{ v0, h, t, back float64 }{
		{20, 16.365477, 1.762934, 16.170182},
		{30, 30.212099, 2.323522, 20.262803},
		{40, 43.790832, 2.714771, 22.648673},
		{50, 56.249859, 2.993307, 24.080935},
	} {
		m := thrown(t, c.v0, 0, 0).tr.Marks
		near(t, "apogee", m.Apogee.Height, c.h, 3e-8)
		near(t, "time to apogee", m.Apogee.T, c.t, 3e-7)
		near(t, "speed at return", -m.Touchdown.Speed, c.back, 3e-8)
	}
	// Terminal velocity equal to the speed: vt^2 ln2 / 2g and vt pi / 4g; and
	// one at twice the speed. area is Cd A for the wanted vt.
	for _, c := range []struct{ v0, vt, h, t float64 }{
		{30, 30, 31.806604, 2.402650}, {50, 50, 88.351677, 4.004416}, {40, 20, 32.823399, 2.257955},
	} {
		area := 2 * 0.150 * 9.80665 / (1.225 * c.vt * c.vt)
		m := thrown(t, c.v0, 0, area).tr.Marks
		near(t, "apogee", m.Apogee.Height, c.h, 3e-8)
		near(t, "time to apogee", m.Apogee.T, c.t, 3e-7)
	}
	// From rest over 50 m: t = vt/g arcosh(exp(g h / vt^2)).
	m := thrown(t, 0, 50, 0).tr.Marks
	near(t, "time of a fall of 50 m", m.Touchdown.T, 3.547512, 3e-7)
	near(t, "speed after it", -m.Touchdown.Speed, 23.431173, 3e-8)
}

// TestVacuum: without air h = v^2/2g and t = v/g.
func TestVacuum(t *testing.T) {
	m := thrown(t, 20, 0, 1e-12).tr.Marks
	near(t, "apogee", m.Apogee.Height, 20.394324, 3e-8)
	near(t, "time", m.Apogee.T, 2.039432, 3e-7)
	near(t, "duration", m.Touchdown.T, 2*2.039432, 3e-7)
}

// TestParachute: steady sink rate sqrt(2 m g / (rho Cd S)) on the nominal area,
// computed for 1.225 kg/m3. Drag coefficients as in Knacke, Parachute Recovery
// Systems Design Manual, NWC TP 6575 (1991), table 5-1 (from memory).
func TestParachute(t *testing.T) {
	for _, c := range []struct{ size, mass, cd, rate float64 }{
		{0.45, 0.20, 0.75, 5.18125}, {0.60, 0.20, 0.75, 3.88593},
		{0.60, 0.15, 0.80, 3.25846}, {0.30, 0.10, 0.75, 5.49554},
	} {
		r, l := caseA()
		r.Dry, r.Cd = c.mass, 0
		r.Parachute, r.ParachuteCd, r.Release = c.size, c.cd, Release{AfterApogee, 0}
		l.Wind = 3
		tr := fly1(t, r, l, ideal{})
		m := tr.Marks
		// The denser air lower down is felt with a lag, which is worth 7e-5.
		near(t, "sink rate", -m.Touchdown.Speed, c.rate, 1e-4)
		near(t, "sideways speed", m.Touchdown.Sweep, l.Wind, 1e-6)
		// Once the canopy is open the drift is the wind's.
		a, b := tr.At(m.Release.T+8), tr.At(m.Release.T+9)
		near(t, "drift in a second", b.Drift-a.Drift, l.Wind, 1e-3)
	}
}

// TestCanopyFills: the drag area follows the square of the distance, so that the
// canopy is open after eight diameters through the air and not before.
func TestCanopyFills(t *testing.T) {
	r, l := teal()
	r.Release.Seconds, l.Wind = 2, 0
	tr := fly1(t, r, l, ideal{})
	for _, sg := range tr.segments {
		if sg.mode.stage == canopyOpen {
			at := tr.At(sg.t)
			along := quad(tr.Marks.Release.T, sg.t, func(x float64) float64 {
				p := tr.At(x)
				return math.Hypot(p.Speed, p.Sweep)
			})
			near(t, "way through the air while filling", along, 8*0.6, 1e-6)
			if at.Accel < 9 {
				t.Errorf("an open canopy at %g m/s brakes with %g m/s2 only", at.Speed, at.Accel)
			}
			return
		}
	}
	t.Fatal("the canopy never opens")
}

func TestReleases(t *testing.T) {
	r, l := teal()
	free := r
	free.Release = Release{}
	top := fly1(t, free, l, ideal{}).Marks
	if top.Release.Seen || -top.Touchdown.Speed < 15 {
		t.Errorf("without a release: seen %v, %g m/s at the ground", top.Release.Seen, top.Touchdown.Speed)
	}
	for _, c := range []struct {
		name string
		rel  Release
		at   float64
		seen bool
	}{
		{"at apogee", Release{AfterApogee, 0}, top.Apogee.T, true},
		{"late", Release{AfterApogee, 1}, top.Apogee.T + 1, true},
		{"early", Release{AfterApogee, -0.8}, top.Apogee.T - 0.8, true},
		{"timer in the boost waits for its end", Release{AfterLiftoff, 0.01}, top.Burnout.T, true},
		{"timer", Release{AfterLiftoff, 2}, 2, true},
		{"after the ground", Release{AfterApogee, 60}, 0, false},
	} {
		q := r
		q.Release = c.rel
		m := fly1(t, q, l, ideal{}).Marks
		if m.Release.Seen != c.seen {
			t.Errorf("%s: seen %v", c.name, m.Release.Seen)
			continue
		}
		if c.seen {
			near(t, c.name, m.Release.T, c.at, 1e-6)
			near(t, c.name+", sink rate", -m.Touchdown.Speed, 3.35, 0.02)
		}
		if c.rel.Seconds == -0.8 && !(m.Apogee.Height < top.Apogee.Height) {
			t.Errorf("an early release does not cost height: %g against %g m", m.Apogee.Height, top.Apogee.Height)
		}
	}
}

// TestWindShear: twice the height at exponent 1/7 has 2^(1/7) of the wind.
func TestWindShear(t *testing.T) {
	r, l := caseA()
	l.Wind, l.Shear = 4, 1.0/7
	s, err := newSetup(r, l, ideal{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "below the reading", s.wind(1), 4, 0)
	near(t, "at the reading", s.wind(2), 4, 0)
	near(t, "at 4 m", s.wind(4), 4*math.Pow(2, 1.0/7), 1e-12)
	l.Shear = 0
	if s, err = newSetup(r, l, ideal{}); err != nil || s.wind(100) != 4 {
		t.Errorf("without shear: %g m/s at 100 m, %v", s.wind(100), err)
	}
}

var errNone = errors.New("no error")

func TestErrors(t *testing.T) {
	for _, c := range []struct {
		name string
		edit func(*Rocket, *Launch)
		want string
	}{
		{"too heavy", func(r *Rocket, _ *Launch) { r.Dry = 40 },
			"leave the pad: thrust at the nozzle is 369.84 N but the rocket weighs 398.90 N"},
		{"too much water", func(_ *Rocket, l *Launch) { l.Water = 1.99 },
			"fill bottle: 1990 mL of water leave no room for air in 2000 mL: use less water"},
		{"no pressure", func(_ *Rocket, l *Launch) { l.Gauge = 0 },
			"fill bottle: gauge pressure is 0 Pa: give at least 1000 Pa (0.01 bar)"},
		{"tube too wide", func(r *Rocket, _ *Launch) { r.Tube, r.TubeLength = 0.03, 0.2 },
			"check rocket: launch tube of 30 mm does not pass the nozzle of 21.7 mm: check both diameters"},
		{"half a tube", func(r *Rocket, _ *Launch) { r.Tube = 0.02 },
			"check rocket: launch tube needs both a length and a diameter: give both or neither"},
		{"not a number", func(r *Rocket, _ *Launch) { r.Dry = math.NaN() },
			"check rocket: dry mass is NaN kg: give a value from 0.001 to 50 kg"},
		{"exponent", func(r *Rocket, _ *Launch) { r.Polytropic = 1.6 },
			"check rocket: polytropic exponent is 1.6: give 1 (isothermal) to 1.4 (adiabatic)"},
		{"timer before liftoff", func(r *Rocket, _ *Launch) { r.Release = Release{AfterLiftoff, -1} },
			"check rocket: release time after liftoff is -1 s: give 0 or more"},
		{"litres for cubic metres", func(r *Rocket, _ *Launch) { r.Volume = 2 },
			"check rocket: bottle volume is 2 m3: give a value from 1e-05 to 0.1 m3"},
		{"celsius for kelvin", func(_ *Rocket, l *Launch) { l.WaterTemperature = 20 },
			"check launch: water temperature is 20 K: give a value from 273.15 to 333.15 K"},
		{"storm", func(_ *Rocket, l *Launch) { l.Wind = 60 },
			"check launch: wind is 60 m/s: give a value from -40 to 40 m/s"},
		{"rail too long", func(_ *Rocket, l *Launch) { l.Rail = 15; l.Gauge = 5e4 },
			"integrate flight: the rocket does not leave the rail of 15.00 m: more thrust, less mass or a shorter rail"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r, l := caseA()
			c.edit(&r, &l)
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
