package model

import (
	"math"
	"testing"
)

// soda is the bottle of a published numerical simulation (physics question and
// answer page "Optimal value of amount of water in a water rocket to fly to the
// highest altitude", its author's program): 2 L, 135 g, bore 7/8 in, body 2.55
// in, 100 psi, Cd 0.4, air of 1.2 kg/m3, exponent 1.4.
func soda(litres float64) (Rocket, Launch) {
	const inch, psi = 0.0254, 6894.757
	r := Rocket{Volume: 2e-3, Nozzle: 7.0 / 8 * inch, Dry: 0.135, Diameter: 2.55 * inch, Cd: 0.4, Polytropic: 1.4}
	l := Launch{Water: litres, WaterDensity: 1000, Gauge: 100 * psi,
		Air: Air{Pressure: 101325, Temperature: 101325 / (gasR * 1.2)}}
	return r, l
}

// simpleBurst flies r with the jet of air replaced by a blow: the air leaves with
// the given part of its energy (p - pa) V as its own motion. How the source
// counts its 30 % is our reading; with the work of an adiabatic expansion instead
// the height is 105 m, with that of an isothermal one 112.1 m, best at 0.57 L.
func simpleBurst(t *testing.T, r Rocket, l Launch, part float64) float64 {
	t.Helper()
	s, err := newSetup(r, l, ideal{})
	if err != nil {
		t.Fatal(err)
	}
	p := pilot{forces: forces{setup: s, mode: mode{stage: waterJet}}, tol: exact}
	p.tr.setup = s
	p.y[iQ] = (r.Volume - s.water/s.rhoWater) / r.Volume
	if hit, err := p.stage(timeMost, 1e-3, waterOut, pressure); err != nil || hit != waterOut {
		t.Fatalf("the water stage ends with %d, %v", hit, err)
	}
	energy := part * (s.p1 - s.pa) * r.Volume
	p.y[iVZ] += math.Sqrt(2*energy*s.m1) / r.Dry
	p.mode, p.y[iQ] = mode{stage: ballistic}, 0
	if err := p.fall(); err != nil {
		t.Fatal(err)
	}
	return p.tr.Marks.Apogee.Height
}

// bestFill is the fill in L, from 0.3 to 1 in steps of 10 mL, that goes highest.
func bestFill(height func(litres float64) float64) (best float64) {
	most := 0.0
	for ml := 300.0; ml <= 1000; ml += 10 {
		if h := height(ml / 1000); h > most {
			best, most = ml/1000, h
		}
	}
	return best
}

// TestPublishedBottle: 112 m with 0.63 L, which is its best fill, says the source.
// It and this model differ in how they count the jet of air; with that counted its
// way the rest must agree: 1 % of the height, and 50 mL, over which its curve is
// flat. With this model's own jet 3 % is what the source supports.
func TestPublishedBottle(t *testing.T) {
	const published, best = 112.0, 0.63
	itsWay := func(litres float64) float64 {
		r, l := soda(litres)
		return simpleBurst(t, r, l, 0.3)
	}
	near(t, "height, the air counted its way", itsWay(best), published, 0.01)
	if got := bestFill(itsWay); math.Abs(got-best) > 0.05 {
		t.Errorf("best fill %.2f L, published %.2f L", got, best)
	}
	own := func(litres float64) float64 {
		r, l := soda(litres)
		return fly1(t, r, l, ideal{}).Marks.Apogee.Height
	}
	near(t, "height", own(best), published, 0.03)
	// The curve is flat: at the source's fill no more than 1 % is lost.
	if h, top := own(best), own(bestFill(own)); h < 0.99*top {
		t.Errorf("%.1f m at its best fill, %.1f m at ours", h, top)
	}
}

// TestPublishedRanges: a bottle of 1 L was measured to fly furthest with 400 to 440
// g of water, and 26.15, 23.25 and 15.4 m far at 45, 60 and 75 degrees ("Optimizing
// Water Rocket Performance", NHSJS 2025). Its mass, mouth and pressure are not
// known to us, so this asks for the shape only, with those of a usual bottle and
// the pressure that gives its range at 45 degrees: further the flatter, and a best
// fill of 0.3 to 0.5 of the bottle.
func TestPublishedRanges(t *testing.T) {
	reach := func(gauge, fill, degrees float64) float64 {
		r := Rocket{Volume: 1e-3, Nozzle: 0.0217, Dry: 0.09, Diameter: 0.08, Cd: 0.5, Polytropic: 1.3}
		l := Launch{Fraction: fill, Gauge: gauge, Rail: 0.3, Tilt: (90 - degrees) * math.Pi / 180}
		return fly1(t, r, l, ideal{}).Marks.Touchdown.Drift
	}
	lo, hi := 0.3e5, 5e5
	for range 40 {
		if mid := (lo + hi) / 2; reach(mid, 0.42, 45) < 26.15 {
			lo = mid
		} else {
			hi = mid
		}
	}
	gauge := hi
	near(t, "range at 45 degrees, to which the pressure is fitted", reach(gauge, 0.42, 45), 26.15, 1e-3)
	// The spread of three throws in a wind of 9 km/h is not stated; a tenth is what
	// models of this kind reach in the field (Yang and Houston, IAJC/ISAM 2016,
	// abstract).
	near(t, "range at 60 degrees", reach(gauge, 0.42, 60), 23.25, 0.10)
	near(t, "range at 75 degrees", reach(gauge, 0.42, 75), 15.4, 0.20)
	best := bestFill(func(litres float64) float64 {
		if litres > 0.7 {
			return 0 // of a bottle of 1 L
		}
		return reach(gauge, litres, 45)
	})
	if best < 0.3 || best > 0.5 {
		t.Errorf("best fill %.2f of the bottle at %.2f bar, measured 0.40 to 0.44", best, gauge/1e5)
	}
}

// TestAirLeft: the air that stays in the bottle when the jet has ended is carried
// on: a light rocket of 2 L goes higher by 0.4 to 0.9 % of its height for it
// (computed: its inertia against the drag, less its weight), and drops it with the
// canopy, under which it is as warm as the air around and bears itself.
func TestAirLeft(t *testing.T) {
	for _, bar := range []float64{3, 5, 7} {
		r, l := caseA()
		r.Dry, l.Gauge = 0.2, bar*1e5
		r.Parachute, r.Release = 0.5, Release{AfterApogee, 0.5}
		tr := fly1(t, r, l, ideal{})
		s, m := tr.setup, tr.Marks
		left := m.Burnout.Mass - r.Dry
		// At the pressure of the air and colder than it: more than a bottle of air.
		if whole := s.rho0 * r.Volume; left < whole || left > 2*whole {
			t.Errorf("%g bar: %.2f g of air stay, a bottle of air has %.2f g", bar, 1e3*left, 1e3*whole)
		}
		near(t, "mass just before the release", tr.At(m.Release.T-1e-6).Mass, m.Burnout.Mass, 1e-12)
		near(t, "mass under the canopy", tr.At(m.Release.T+1).Mass, r.Dry, 1e-12)

		p := pilot{forces: forces{setup: s, mode: mode{stage: ballistic}}, tol: exact}
		dropped := *s
		dropped.airLeft = 0
		p.setup, p.tr.setup = &dropped, &dropped
		p.t, p.y[iZ], p.y[iVZ] = m.Burnout.T, m.Burnout.Height, m.Burnout.Speed
		if err := p.fall(); err != nil {
			t.Fatal(err)
		}
		if more := m.Apogee.Height/p.tr.Marks.Apogee.Height - 1; more < 0.003 || more > 0.010 {
			t.Errorf("%g bar: the air left makes %+.2f %% of the height", bar, 100*more)
		}
	}
}

// TestAccelerationOfTiltedLaunch: a rail tilted by 40 degrees changes what gravity
// takes along it, and nothing else of the first push.
func TestAccelerationOfTiltedLaunch(t *testing.T) {
	r, l := caseA()
	l.Rail = 2
	straight := fly1(t, r, l, ideal{}).MaxPush
	l.Tilt = 40 * math.Pi / 180
	tilted := fly1(t, r, l, ideal{}).MaxPush
	if off := tilted - straight; off < 0 || off > 9.80665*(1-math.Cos(l.Tilt))+0.02*straight {
		t.Errorf("greatest acceleration %.1f m/s2 tilted, %.1f straight", tilted, straight)
	}
}
