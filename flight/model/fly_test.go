package model

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"padlark/flight"
)

// teal is a two-litre rocket of our own.
func teal() (Rocket, Launch) {
	return Rocket{Volume: 2e-3, Nozzle: 0.0217, Dry: 0.150, Diameter: 0.09, Cd: 0.5, Parachute: 0.6,
			Release: Release{AfterApogee, 0.3}},
		Launch{Fraction: 1.0 / 3, Gauge: 5e5, Rail: 0.3, Tilt: 0.05, Wind: 2}
}

// TestConvergence: the tolerance of Fly against one 10 000 times finer.
func TestConvergence(t *testing.T) {
	for name, make := range map[string]func() (Rocket, Launch){"water": teal, "motor": plum} {
		r, l := make()
		a, err := Fly(r, l)
		if err != nil {
			t.Fatal(err)
		}
		b := fly1(t, r, l, ideal{})
		for _, c := range []struct {
			what      string
			got, want float64
		}{
			{"burnout", a.Marks.Burnout.T, b.Marks.Burnout.T},
			{"apogee", a.Marks.Apogee.Height, b.Marks.Apogee.Height},
			{"time to apogee", a.Marks.Apogee.T, b.Marks.Apogee.T},
			{"duration", a.Duration(), b.Duration()},
			{"speed at the ground", a.Marks.Touchdown.Speed, b.Marks.Touchdown.Speed},
			{"greatest speed", a.MaxSpeed, b.MaxSpeed},
		} {
			near(t, name+": "+c.what, c.got, c.want, 1e-5)
		}
		// Also between the steps, where the extension is used.
		for x := 0.0; x < b.Duration(); x += b.Duration() / 997 {
			p, q := a.At(x), b.At(x)
			if math.Abs(p.Height-q.Height) > 2e-3 || math.Abs(p.Speed-q.Speed) > 5e-3 {
				t.Fatalf("%s at %.4f s: %.5f m %.5f m/s, finer %.5f m %.5f m/s", name, x, p.Height, p.Speed, q.Height, q.Speed)
			}
		}
	}
}

// TestAt: rest before and after, phases in order, and the marks lie on the path.
func TestAt(t *testing.T) {
	r, l := teal()
	tr, err := Fly(r, l)
	if err != nil {
		t.Fatal(err)
	}
	m := tr.Marks
	for _, c := range []struct {
		t    float64
		want flight.Phase
	}{
		{-1, flight.Waiting}, {0, flight.Boost}, {m.Burnout.T - 1e-6, flight.Boost}, {m.Burnout.T, flight.Coast},
		{m.Apogee.T - 1e-6, flight.Coast}, {m.Apogee.T, flight.Descent}, {m.Touchdown.T - 1e-6, flight.Descent},
		{m.Touchdown.T, flight.Landed}, {m.Touchdown.T + 1000, flight.Landed},
	} {
		if got := tr.At(c.t).Phase; got != c.want {
			t.Errorf("phase at %g s is %s, want %s", c.t, got, c.want)
		}
	}
	for _, k := range []Mark{m.RailExit, m.Burnout, m.Apogee, m.Release} {
		got := tr.At(k.T)
		opt := cmpopts.EquateApprox(0, 1e-6)
		if d := cmp.Diff(k.Point, got, opt); d != "" {
			t.Errorf("mark is off the path (-mark +path):\n%s", d)
		}
	}
	rest := tr.At(-3)
	if rest.Height != 0 || rest.Speed != 0 || rest.Accel != 0 || rest.Thrust != 0 || rest.T != -3 {
		t.Errorf("not at rest before liftoff: %+v", rest)
	}
	rest = tr.At(m.Touchdown.T + 5)
	if rest.Height != 0 || rest.Speed != 0 || rest.Accel != 0 || rest.Drift != m.Touchdown.Drift {
		t.Errorf("not at rest after touchdown: %+v", rest)
	}
	if p := tr.At(math.NaN()); p.Phase != flight.Waiting {
		t.Errorf("at no time: %+v", p)
	}
	if a := math.Abs(m.Apogee.Speed); a > 1e-6 {
		t.Errorf("vertical speed at the top is %g", a)
	}
}

func drawRocket(t *rapid.T) (Rocket, Launch) {
	f := func(lo, hi float64, label string) float64 { return rapid.Float64Range(lo, hi).Draw(t, label) }
	r := Rocket{
		Volume: f(2e-4, 5e-3, "volume"), Nozzle: f(4e-3, 0.022, "nozzle"), Polytropic: f(1, 1.4, "n"), Film: f(0, 0.1, "film"),
		Dry: f(0.05, 0.6, "dry"), Diameter: f(0.05, 0.12, "diameter"), Cd: f(0.2, 1, "cd"),
		Parachute: f(0, 1, "parachute"), Release: Release{ReleaseHow(rapid.IntRange(0, 2).Draw(t, "how")), f(0, 4, "release")},
	}
	if rapid.Bool().Draw(t, "tube") {
		r.Tube, r.TubeLength = r.Nozzle*f(0.5, 1, "tube"), f(0.05, 0.4, "tube length")
	}
	if r.Release.How == AfterApogee {
		r.Release.Seconds -= 1.5
	}
	l := Launch{
		Fraction: f(0, 0.7, "fraction"), Gauge: f(1e5, 8e5, "gauge"), Rail: f(0, 1.5, "rail"), Tilt: f(-0.3, 0.3, "tilt"),
		Wind: f(-8, 8, "wind"), Shear: f(0, 0.3, "shear"),
		Air: Air{Elevation: f(0, 3000, "elevation"), Temperature: f(263, 313, "temperature"), Humidity: f(0, 1, "humidity")},
	}
	l.WaterTemperature = math.Max(l.Air.Temperature, 274)
	return r, l
}

// TestAnyFlight draws rockets and asks what must hold for each.
func TestAnyFlight(t *testing.T) {
	flown := 0
	rapid.Check(t, func(t *rapid.T) {
		r, l := drawRocket(t)
		tr, err := Fly(r, l)
		if err != nil {
			return // too heavy for its thrust: said so
		}
		flown++
		m := tr.Marks
		// A weak jet can still blow after the top.
		order := []float64{0, m.WaterOut.T, m.Burnout.T, m.Touchdown.T}
		if !(m.Apogee.Seen && m.Apogee.T > 0 && m.Apogee.T <= m.Touchdown.T) {
			t.Fatalf("apogee at %g s, touchdown at %g s", m.Apogee.T, m.Touchdown.T)
		}
		for i := 1; i < len(order); i++ {
			if !(order[i] >= order[i-1]) {
				t.Fatalf("marks are out of order: %v", order)
			}
		}
		if m.Touchdown.Speed > 1e-6 || math.Abs(m.Touchdown.Height) > 1e-3 {
			t.Fatalf("touchdown at %g m, %g m/s", m.Touchdown.Height, m.Touchdown.Speed)
		}
		last := tr.At(0)
		n := 400
		for i := 1; i <= n; i++ {
			p := tr.At(m.Touchdown.T * float64(i) / float64(n+1))
			if math.IsNaN(p.Height + p.Speed + p.Accel + p.Drift + p.Mass + p.Pressure + p.Thrust) {
				t.Fatalf("not a number: %+v", p)
			}
			// The extension may miss the end of a step by rounding.
			if p.Mass > last.Mass+1e-6 || p.Mass < r.Dry-1e-12 {
				t.Fatalf("mass went from %g to %g kg at %g s", last.Mass, p.Mass, p.T)
			}
			if p.Height > m.Apogee.Height+1e-3 || p.Height < -1e-3 {
				t.Fatalf("height %g m at %g s, apogee %g m", p.Height, p.T, m.Apogee.Height)
			}
			if math.Abs(p.Height-last.Height) > (tr.MaxSpeed+5)*(p.T-last.T)+1e-6 &&
				math.Abs(p.Height-last.Height) > 80*(p.T-last.T) {
				t.Fatalf("height jumps from %g to %g m at %g s", last.Height, p.Height, p.T)
			}
			last = p
		}
	})
	if flown == 0 {
		t.Error("not one of the rockets flew")
	}
}

func TestDeterministic(t *testing.T) {
	r, l := teal()
	a, _ := Fly(r, l)
	b, _ := Fly(r, l)
	if d := cmp.Diff(a.Marks, b.Marks); d != "" {
		t.Errorf("two flights differ (-first +second):\n%s", d)
	}
}

// TestWaterDensity: density tables of pure water at one atmosphere (from
// memory): 999.84 at 0, 999.97 at 4, 998.21 at 20, 995.65 at 30, 992.2 at 40
// degrees Celsius.
func TestWaterDensity(t *testing.T) {
	for c, want := range map[float64]float64{0: 999.84, 4: 999.97, 20: 998.21, 30: 995.65, 40: 992.2} {
		near(t, "density", waterDensity(273.15+c), want, 1.5e-4)
	}
}

// TestTubeHelps: the tube gives speed without water, so the same fill goes
// higher; and the piston's first acceleration is (p - pa) A / m - g.
func TestTubeHelps(t *testing.T) {
	r, l := caseA()
	plain := fly1(t, r, l, ideal{})
	r.Tube, r.TubeLength = 0.0217, 0.25
	tube := fly1(t, r, l, ideal{})
	if tube.Marks.Apogee.Height <= plain.Marks.Apogee.Height {
		t.Errorf("apogee %.1f m with a tube, %.1f m without", tube.Marks.Apogee.Height, plain.Marks.Apogee.Height)
	}
	p := tube.At(0)
	near(t, "first acceleration", p.Accel, 5e5*math.Pi/4*0.0217*0.0217/p.Mass-9.80665, 1e-9)
}

// TestRailAndTubeOfOneLength: two happenings at one time.
func TestRailAndTubeOfOneLength(t *testing.T) {
	r, l := caseA()
	r.Tube, r.TubeLength, l.Rail = 0.0215, 0.3, 0.3
	tr := fly1(t, r, l, ideal{})
	if !tr.Marks.RailExit.Seen || !tr.Marks.WaterOut.Seen || tr.Marks.Apogee.Height < 30 {
		t.Errorf("%+v", tr.Marks)
	}
	near(t, "rail end", tr.Marks.RailExit.Height, 0.3, 1e-9)
}

// TestWeakFill: so little air that it is spent before the water; the rest stays
// in the bottle and is carried.
func TestWeakFill(t *testing.T) {
	r, l := caseA()
	r.Dry, l.Fraction, l.Gauge = 0.05, 0.9, 2e5
	tr := fly1(t, r, l, ideal{})
	m := tr.Marks
	if m.Burnout.Mass < r.Dry+0.5 {
		t.Errorf("mass after the jet is %g kg, want most of the water in", m.Burnout.Mass)
	}
	near(t, "mass at the ground", m.Touchdown.Mass, m.Burnout.Mass, 1e-9)
	near(t, "pressure at the end", m.WaterOut.Pressure, 101325+still, 1e-9)
}

func BenchmarkFly(b *testing.B) {
	for name, make := range map[string]func() (Rocket, Launch){"water": teal, "motor": plum} {
		b.Run(name, func(b *testing.B) {
			r, l := make()
			b.ReportAllocs()
			for b.Loop() {
				if _, err := Fly(r, l); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// TestPushOfATiltedRocket: a rail that leans does not make the push weaker, only the
// vertical part of it: by the cosine, and gravity takes less of what is along the rail.
func TestPushOfATiltedRocket(t *testing.T) {
	r, l := teal()
	l.Wind, l.Tilt = 0, 0
	up, err := Fly(r, l)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "straight up", up.MaxPush, up.MaxAccel, 1e-9)
	l.Tilt = math.Pi / 3
	leaning, err := Fly(r, l)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "along a rail at 60 degrees", leaning.MaxPush, up.MaxPush, 0.03)
	near(t, "vertical part of it", leaning.MaxAccel, up.MaxPush/2, 0.05)
}
