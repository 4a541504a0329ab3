package model

import (
	"math"
	"testing"
)

// exact is the tolerance of the comparisons with closed forms.
var exact = tolerance{rel: 1e-10, abs: 1e-12}

func fly1(t *testing.T, r Rocket, l Launch, id ideal) Trajectory {
	t.Helper()
	tr, err := fly(r, l, id, exact)
	if err != nil {
		t.Fatal(err)
	}
	return tr
}

// caseA is the reference case: 2 L, a third water, 5 bar gauge, 0.150 kg.
func caseA() (Rocket, Launch) {
	return Rocket{Volume: 2e-3, Nozzle: 0.0217, Dry: 0.150, Diameter: 0.09, Cd: 0.5},
		Launch{Fraction: 1.0 / 3, Gauge: 5e5, WaterDensity: 1000, WaterTemperature: 300,
			Air: Air{Temperature: 288.15, Pressure: 101325}}
}

// TestWaterStage: converged quasi-steady cases without the mass of the air,
// worked out with another program (fixed-step Runge-Kutta of order 4, 2000 and
// 20000 steps agree to 1e-11); no outside publication has them. They check the
// integration, not the physics.
func TestWaterStage(t *testing.T) {
	free := ideal{noGravity: true, noDrag: true, noGasMass: true}
	for _, c := range []struct {
		name                        string
		n, nozzle, fraction, gauge  float64
		id                          ideal
		time, speed, height, endP   float64
		heightTolerance, speedToler float64
	}{
		{"adiabatic", 1.4, 0.0217, 1.0 / 3, 5e5, free, 0.0694018, 42.37727, 1.244297, 340864.28, 1e-6, 2e-7},
		{"gravity", 1.4, 0.0217, 1.0 / 3, 5e5, ideal{noDrag: true, noGasMass: true},
			0.0694018, 41.69667, 1.220680, 340864.28, 1e-6, 2e-7},
		// The reference has the density of the pad at all heights.
		{"gravity and drag", 1.4, 0.0217, 1.0 / 3, 5e5, ideal{noGasMass: true},
			0.0694018, 41.45536, 1.217972, 340864.28, 2e-6, 2e-6},
		{"isothermal", 1, 0.0217, 1.0 / 3, 5e5, free, 0.0653818, 45.40285, 1.202531, 400883.33, 1e-6, 2e-7},
		{"small nozzle", 1.4, 0.009, 1.0 / 3, 5e5, free, 0.4034647, 42.37727, 7.233667, 340864.28, 1e-6, 2e-7},
		{"small nozzle, gravity and drag", 1.4, 0.009, 1.0 / 3, 5e5, ideal{noGasMass: true},
			0.4034647, 37.28516, 6.361581, 340864.28, 2e-5, 2e-5},
		{"half full at 3 bar", 1.4, 0.0217, 0.5, 3e5, free, 0.1762319, 28.944907, 2.457054, 152073.74, 1e-6, 2e-7},
	} {
		t.Run(c.name, func(t *testing.T) {
			r, l := caseA()
			r.Polytropic, r.Nozzle = c.n, c.nozzle
			l.Fraction, l.Gauge = c.fraction, c.gauge
			// Without gravity the flight has no end: look at the boost alone.
			s, err := newSetup(r, l, c.id)
			if err != nil {
				t.Fatal(err)
			}
			p := pilot{forces: forces{setup: s}, tol: exact}
			p.tr.setup = s
			p.mode = p.firstMode()
			if err := p.boost(); err != nil {
				t.Fatal(err)
			}
			w := p.tr.Marks.WaterOut
			near(t, "time", w.T, c.time, 1e-6)
			near(t, "speed", w.Speed, c.speed, c.speedToler)
			near(t, "height", w.Height, c.height, c.heightTolerance)
			near(t, "pressure", s.p1, c.endP, 2e-8)
			// Bounds by the rocket equation with the jet's least and greatest
			// speed (closed form).
			ratio := math.Log((r.Dry + s.water) / r.Dry)
			lo, hi := math.Sqrt(2*(s.p1-s.pa)/1000)*ratio, math.Sqrt(2*c.gauge/1000)*ratio
			if c.id == free && (w.Speed < lo || w.Speed > hi) {
				t.Errorf("speed %g is not between %g and %g", w.Speed, lo, hi)
			}
		})
	}
}

// TestJetRelations: point values computed from v = sqrt(2 dp / rho) and
// F = 2 A dp (the relation of Finney, Am. J. Phys. 68 (2000) 223, abstract).
func TestJetRelations(t *testing.T) {
	r, l := caseA()
	for _, c := range []struct{ nozzle, gauge, thrust, speed float64 }{
		{0.0217, 5e5, 369.836, 31.6228}, {0.009, 5e5, 63.6173, 31.6228},
		{0.0217, 3e5, 221.902, 24.4949}, {0.0217, 6e5, 443.803, 34.6410},
	} {
		r.Nozzle, l.Gauge = c.nozzle, c.gauge
		tr := fly1(t, r, l, ideal{})
		p := tr.At(0)
		near(t, "thrust", p.Thrust, c.thrust, 3e-6)
		// What leaves in the first instant.
		const dt = 1e-6
		flow := (p.Mass - tr.At(dt).Mass) / dt
		near(t, "jet speed", flow/1000/(math.Pi/4*c.nozzle*c.nozzle), c.speed, 2e-5)
	}
}

// TestImpulse: total impulse does not depend on the nozzle; values computed from
// I = integral of sqrt(2 rho dp) dV.
func TestImpulse(t *testing.T) {
	for n, want := range map[float64]float64{1.4: 17.51020, 1: 18.48022} {
		for _, nozzle := range []float64{0.0217, 0.009, 0.0145} {
			r, l := caseA()
			r.Nozzle, r.Polytropic = nozzle, n
			tr := fly1(t, r, l, ideal{})
			got := quad(0, tr.Marks.WaterOut.T, func(x float64) float64 { return tr.At(x).Thrust })
			near(t, "impulse of the water", got, want, 1e-6)
		}
	}
}

// quad is Simpson's rule with 2000 pieces.
func quad(a, b float64, f func(float64) float64) float64 {
	const n = 2000
	h := (b - a) / n
	// The ends belong to the stage inside.
	sum := f(a+h*1e-9) + f(b-h*1e-9)
	for i := 1; i < n; i++ {
		sum += f(a+h*float64(i)) * float64(2+2*(i%2))
	}
	return sum * h / 3
}

// TestExpansionWork is the energy balance of the water stage in the ground's
// frame: what the air gives is in the rocket and in the water that has left.
// The net work of 232.5452 J is the closed form of the expansion.
func TestExpansionWork(t *testing.T) {
	r, l := caseA()
	s, err := newSetup(r, l, ideal{noGravity: true, noDrag: true, noGasMass: true})
	if err != nil {
		t.Fatal(err)
	}
	p := pilot{forces: forces{setup: s}, tol: exact}
	p.tr.setup = s
	p.mode = p.firstMode()
	if err := p.boost(); err != nil {
		t.Fatal(err)
	}
	w := p.tr.Marks.WaterOut
	p.tr.Marks.Burnout.T, p.tr.Marks.Touchdown.T = 1, 1
	jet := quad(0, w.T, func(x float64) float64 {
		pt := p.tr.At(x)
		u := math.Sqrt(2 * (pt.Pressure - s.pa) / 1000)
		flow := 1000 * s.jetArea * u
		return flow * (pt.Speed - u) * (pt.Speed - u) / 2
	})
	near(t, "energy of rocket and water", r.Dry*w.Speed*w.Speed/2+jet, 232.5452, 1e-6)
	near(t, "gas temperature (closed form)", s.t1, 255.085, 2e-6)
}

// TestBlowDown compares the air stage with the closed form of a choked bottle,
// p = p1 [1 + (k-1)/2 t/tau]^(-2k/(k-1)), and with converged numbers for the
// rest (worked out with another program). The bottle's motion does not matter.
func TestBlowDown(t *testing.T) {
	r, l := caseA()
	tr := fly1(t, r, l, ideal{})
	start, end := tr.Marks.WaterOut, tr.Marks.Burnout
	s := tr.setup
	near(t, "thrust at the start", start.Thrust, 122.360, 4e-6)
	tau := r.Volume / (s.jetArea * math.Sqrt(gasK*gasR*s.t1) * 0.5787037)
	near(t, "time constant", tau, 29.18617e-3, 2e-6)
	closed := func(t float64) float64 {
		return s.p1 * math.Pow(1+(gasK-1)/2*t/tau, -2*gasK/(gasK-1))
	}
	for _, dt := range []float64{1e-3, 5e-3, 0.01, 0.0124939} {
		near(t, "pressure", tr.At(start.T+dt).Pressure, closed(dt), 1e-6)
	}
	near(t, "pressure where it unchokes", tr.At(start.T+0.0124939).Pressure, 191801, 1e-5)
	impulse := quad(start.T, start.T+0.0124939, func(x float64) float64 { return tr.At(x).Thrust }) +
		quad(start.T+0.0124939, end.T, func(x float64) float64 { return tr.At(x).Thrust })
	near(t, "impulse", impulse, 1.46123, 1e-5)
	near(t, "gas at the start", s.m1, 9.310e-3, 1e-4)
	near(t, "gas out", start.Mass-tr.At(end.T-1e-9).Mass, 5.395e-3, 5e-4)
}

// TestBalances checks mass and energy over a whole flight with everything
// switched on: tube, film, mass of the air, tilt, wind, drag, canopy.
func TestBalances(t *testing.T) {
	r, l := caseA()
	r.TubeLength, r.Tube, r.Film = 0.25, 0.021, 0.02
	r.Parachute, r.Release = 0.6, Release{AfterApogee, 0.5}
	l.Rail, l.Tilt, l.Wind = 0.4, 0.1, 3
	l.Air.Humidity = 0.5
	tr := fly1(t, r, l, ideal{})
	s, m := tr.setup, tr.Marks

	near(t, "mass at liftoff", m.Liftoff.Mass, r.Dry+s.water+s.m1, 1e-12)
	near(t, "mass at water out", m.WaterOut.Mass, r.Dry+s.film+s.m1, 1e-9)
	left := math.Pow((s.pa+still)/s.p1, 1/s.n) * s.m1
	near(t, "mass before the last of the jet", tr.At(m.Burnout.T-1e-9).Mass, r.Dry+s.film+left, 1e-7)

	// Work and energy: d(v^2/2)/dt = a.v; the acceleration from the forces
	// worked out here from the point's own numbers.
	area := r.Cd * math.Pi / 4 * r.Diameter * r.Diameter
	power := func(x float64) float64 {
		p := tr.At(x)
		rx := p.Sweep - l.Wind
		v := math.Hypot(p.Sweep, p.Speed)
		drag := 0.5 * s.density(p.Height) * area * math.Hypot(rx, p.Speed)
		return (p.Thrust*v-drag*(rx*p.Sweep+p.Speed*p.Speed))/p.Mass - s.g*p.Speed
	}
	var sum float64
	// Piece by piece, since the forces have corners. Drag on the rail acts along
	// the rail only, so the balance begins where it ends.
	for _, w := range [][2]Mark{{m.RailExit, m.WaterOut}, {m.WaterOut, m.Burnout}, {m.Burnout, m.Release}} {
		sum += quad(w[0].T, w[1].T, power)
	}
	kinetic := func(p Mark) float64 { return (p.Speed*p.Speed + p.Sweep*p.Sweep) / 2 }
	near(t, "energy from the rail to the release", sum, kinetic(m.Release)-kinetic(m.RailExit), 1e-4)

	// On the tube the pressure is that of the growing volume, and the work of
	// the piston is p dV - pa dV in closed form.
	v0, v1 := s.gas0, s.gas0+s.tubeArea*r.TubeLength
	work := s.p0*v0/(s.n-1)*(1-math.Pow(v0/v1, s.n-1)) - s.pa*(v1-v0)
	r2, l2 := r, l
	l2.Tilt = 0
	r2.Parachute = 0
	tr2 := fly1(t, r2, l2, ideal{noDrag: true})
	var off Point
	for _, sg := range tr2.segments {
		if sg.mode.stage == waterJet {
			off = tr2.At(sg.t)
			break
		}
	}
	near(t, "height where the tube ends", off.Height, r.TubeLength, 1e-9)
	near(t, "energy where the tube ends", m.Liftoff.Mass*(off.Speed*off.Speed/2+s.g*off.Height), work, 1e-8)
}

// TestPublishedTolerance: predicted and measured apogees of such rockets differ
// by about 6 % (Barrio-Perotti and others, Eur. J. Phys. 31 (2010) 1131, abstract)
// and by -6 and -10 % (Yang and Houston, IAJC/ISAM 2016, abstract). No complete
// case of input and measured output was to be had. So this asks the other way
// round whether the model is as good as theirs: what it leaves open must not move
// the apogee by more than they were off.
func TestPublishedTolerance(t *testing.T) {
	apogee := func(edit func(*Rocket, *Launch)) float64 {
		r, l := caseA()
		r.Polytropic = 1.3
		edit(&r, &l)
		return fly1(t, r, l, ideal{}).Marks.Apogee.Height
	}
	plain := apogee(func(*Rocket, *Launch) {})
	for name, edit := range map[string]func(*Rocket, *Launch){
		"air stays warmer": func(r *Rocket, _ *Launch) { r.Polytropic = 1.2 },
		"no heat to air":   func(r *Rocket, _ *Launch) { r.Polytropic = 1.4 },
		"rough mouth":      func(r *Rocket, _ *Launch) { r.Discharge = 0.97 },
		"wet wall":         func(r *Rocket, _ *Launch) { r.Film = 0.02 },
		"warm water":       func(_ *Rocket, l *Launch) { l.WaterTemperature, l.WaterDensity = 310, 0 },
		"moist air":        func(_ *Rocket, l *Launch) { l.Air.Humidity = 1 },
	} {
		off := apogee(edit)/plain - 1
		if off < -0.10 || off > 0.06 {
			t.Errorf("%s: %+.1f %%, want -10 to +6 %%", name, 100*off)
		}
		if off == 0 {
			t.Errorf("%s has no effect at all", name)
		}
	}
}

// TestWaterInertia justifies what is left out. It integrates the same case with
// the unsteady Bernoulli equation of a column of water in a bottle of 90 mm and
// a neck of 20 mm: head of the accelerating column, inertia of column and neck,
// momentum of the water inside. Speed and time must stay close to the
// quasi-steady ones.
func TestWaterInertia(t *testing.T) {
	for _, nozzle := range []float64{0.0217, 0.009} {
		r, l := caseA()
		r.Nozzle = nozzle
		s, err := newSetup(r, l, ideal{noGravity: true, noDrag: true, noGasMass: true})
		if err != nil {
			t.Fatal(err)
		}
		speed, water := withInertia(s)
		p := pilot{forces: forces{setup: s}, tol: exact}
		p.tr.setup = s
		p.mode = p.firstMode()
		if err := p.boost(); err != nil {
			t.Fatal(err)
		}
		w := p.tr.Marks.WaterOut
		near(t, "speed with inertia", speed, w.Speed, 2e-3)
		near(t, "water time with inertia", water, w.T, 0.035)
		if nozzle > 0.02 && math.Abs(water/w.T-1) < 0.01 {
			t.Error("the inertia has no effect at all: the comparison is broken")
		}
	}
}

// withInertia gives speed and time at water out, by small steps of Euler's rule.
func withInertia(s *setup) (speed, water float64) {
	const dt, neck, rho = 2e-6, 0.02, 1000
	body := math.Pi / 4 * 0.09 * 0.09
	part := s.jetArea / body // how fast the surface sinks per jet speed
	var jet float64
	for vol := s.gas0; vol < s.r.Volume; water += dt {
		inside := (s.r.Volume - vol) * rho
		mass, column := s.r.Dry+inside, inside/rho/body
		excess := s.p0*math.Pow(s.gas0/vol, s.n) - s.pa
		push := rho * s.jetArea * jet * jet * (1 - part)
		inertia := rho * s.jetArea * column
		change := (excess/rho + column*push/mass - jet*jet/2*(1-part*part)) /
			(column*part + neck - column*inertia/mass)
		speed += (push + inertia*change) / mass * dt
		jet += change * dt
		vol += s.jetArea * jet * dt
	}
	return speed, water
}
