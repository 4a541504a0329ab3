package ensemble

import (
	"math"
	"testing"
)

// flights draws n flights of each spec and hands them on.
func flights(t *testing.T, n uint64, do func(t *testing.T, f *Flight)) {
	t.Helper()
	for _, spec := range []Spec{Nominal50(), Slow10(), Wide(), Short(), ForFaults()} {
		var f Flight
		for i := range n {
			if err := DrawInto(&f, spec, 7, i); err != nil {
				t.Fatal(err)
			}
			do(t, &f)
			if t.Failed() {
				t.Fatalf("first seen in %s, flight %d", spec.Name, i)
			}
		}
	}
}

// The order of the marks and the extremes follow from what the words mean.
func TestTruthIsConsistent(t *testing.T) {
	flights(t, 60, func(t *testing.T, f *Flight) {
		tr := &f.Truth
		if !(tr.LiftoffS < tr.BurnoutS && tr.BurnoutS < tr.ApogeeS && tr.ApogeeS < tr.TouchdownS) {
			t.Errorf("marks out of order: %+v", *tr)
		}
		if tr.HeightM(tr.LiftoffS-0.01) != 0 || tr.HeightM(tr.TouchdownS+1) != tr.RestM {
			t.Error("it does not rest before liftoff and after touchdown")
		}
		top, fast := 0.0, 0.0
		for s := tr.LiftoffS; s < tr.TouchdownS; s += 0.003 {
			p := tr.At(s)
			top, fast = max(top, p.Height), max(fast, p.Speed)
		}
		if top > tr.ApogeeM+1e-9 || top < tr.ApogeeM-1e-3 {
			t.Errorf("highest point %.6f m, apogee %.6f m", top, tr.ApogeeM)
		}
		if v := tr.SpeedMps(tr.ApogeeS); math.Abs(v) > 1e-6 {
			t.Errorf("vertical speed %g m/s at the apogee", v)
		}
		if fast > tr.MaxSpeedMps+0.02 || fast < tr.MaxSpeedMps*0.995-0.02 {
			t.Errorf("fastest %.4f m/s, told %.4f", fast, tr.MaxSpeedMps)
		}
	})
}

// Speed is the slope of height, and acceleration that of speed, wherever
// neither jumps.
func TestTruthDerivatives(t *testing.T) {
	flights(t, 40, func(t *testing.T, f *Flight) {
		tr := &f.Truth
		const d = 1e-4
		for k := range 60 {
			s := tr.BurnoutS + 0.02 + (tr.ApogeeS-tr.BurnoutS-0.04)*float64(k)/60
			if s+d > tr.ReleaseS {
				break
			}
			slope := (tr.HeightM(s+d) - tr.HeightM(s-d)) / (2 * d)
			if v := tr.SpeedMps(s); math.Abs(slope-v) > 1e-3*(1+math.Abs(v)) {
				t.Errorf("%.3f s: speed %.5f m/s, slope of the height %.5f", s, v, slope)
			}
			slope = (tr.SpeedMps(s+d) - tr.SpeedMps(s-d)) / (2 * d)
			if a := tr.At(s).Accel; math.Abs(slope-a) > 0.02*math.Abs(a)+0.05 {
				t.Errorf("%.3f s: acceleration %.4f m/s2, slope of the speed %.4f", s, a, slope)
			}
		}
	})
}

// Without thrust, drag only takes energy away: that of the vertical motion
// over the pad may not rise between burnout and release, tilt apart.
func TestEnergyFalls(t *testing.T) {
	for _, spec := range []Spec{Nominal50(), Short()} {
		spec.TiltDeg, spec.WindMps = Fixed(0), Fixed(0)
		for i := range uint64(60) {
			f, err := Draw(spec, 3, i)
			if err != nil {
				t.Fatal(err)
			}
			tr := &f.Truth
			last := math.Inf(1)
			for s := tr.BurnoutS + 1e-3; s < tr.ReleaseS; s += 0.01 {
				p := tr.At(s)
				e := g0*p.Height + p.Speed*p.Speed/2
				if e > last*(1+1e-6) {
					t.Fatalf("%s %d: %.3f s after liftoff the energy rises from %.4f to %.4f J/kg", spec.Name, i, p.T, last, e)
				}
				last = e
			}
		}
	}
}

// Vertical coast with quadratic drag in air of one density has a closed form:
// h = vt^2/2g ln(1+v0^2/vt^2), t = vt/g arctan(v0/vt), back at the start with
// v0/sqrt(1+v0^2/vt^2). Formulas from memory (the terminal speed is on NASA
// Glenn's page "Flight Equations with Drag"); numbers computed from them for
// m = 0.150 kg, Cd 0.5, 90 mm, 1.225 kg/m3: vt = 27.4777 m/s.
func TestCoastAgainstClosedForm(t *testing.T) {
	cases := []struct{ v0, height, time, back float64 }{
		{20, 16.365477, 1.762934, 16.170182},
		{30, 30.212099, 2.323522, 20.262803},
		{40, 43.790832, 2.714771, 22.648673},
		{50, 56.249859, 2.993307, 24.080935},
	}
	for _, c := range cases {
		const boost = 1e-4 // a kick
		a := air{padPa: 1.225 * gasConst * seaK, padK: seaK}
		m := motion{
			air: a, mass: 0.150, dragA: 0.5 * math.Pi / 4 * 0.09 * 0.09,
			boostS: boost, boostV: c.v0 + g0*boost, front: 1, release: math.Inf(1), fillS: 0.2,
		}
		var p truePath
		m.fly(&p)
		// The density of our air falls with height, by 0.5 % at 50 m.
		near := func(what string, got, want, part float64) {
			if math.Abs(got/want-1) > part {
				t.Errorf("%g m/s: %s %.5f, want %.5f", c.v0, what, got, want)
			}
		}
		near("height", p.marks.apogeeM, c.height, 1.5e-3)
		near("time", p.marks.apogee, c.time, 1.5e-3)
		pts := p.points
		near("speed at return", -pts[len(pts)-2].Speed, c.back, 2e-3)
	}
}

// The parachute's steady rate: m g = Cd A rho v^2 / 2, the equation with which
// the canopy was sized.
func TestDescentRateIsTheParachutes(t *testing.T) {
	flights(t, 60, func(t *testing.T, f *Flight) {
		tr := &f.Truth
		if math.IsNaN(tr.DescentMps) || tr.TouchdownS-tr.OpenS < 3 {
			return
		}
		if r := tr.DescentMps / f.Setup.SinkMps; r < 0.9 || r > 1.12 {
			t.Errorf("sinks at %.2f m/s, drawn %.2f", tr.DescentMps, f.Setup.SinkMps)
		}
	})
}

// The column of air against rows of US Standard Atmosphere 1976 (geopotential
// heights, computed from the published equations; the 0 m row printed).
func TestAirAgainstStandard(t *testing.T) {
	a := air{padPa: seaPa, padK: seaK}
	for _, c := range []struct{ h, pa, rho float64 }{
		{-500, 107477.507, 1.28489}, {0, 101325, 1.22500}, {100, 100129.439, 1.21328},
		{300, 97772.577, 1.19010}, {1000, 89874.571, 1.11164}, {3000, 70108.545, 0.90912},
	} {
		if got := a.pressure(c.h); math.Abs(got-c.pa) > 0.05 {
			t.Errorf("%g m: %.3f Pa, want %.3f", c.h, got, c.pa)
		}
		if got := a.density(c.h); math.Abs(got-c.rho) > 5e-4 {
			t.Errorf("%g m: %.5f kg/m3, want %.5f", c.h, got, c.rho)
		}
		if got := a.height(c.pa); math.Abs(got-c.h) > 0.01 {
			t.Errorf("%g Pa: %.3f m, want %g", c.pa, got, c.h)
		}
	}
}
