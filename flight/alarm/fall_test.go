package alarm

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"padlark/flight/atmos"
)

// The worked numbers for m = 0.150 kg, Cd = 0.5, d = 90 mm, rho = 1.225 are
// computed from the published equations of vertical flight with quadratic drag.
func TestFallMatchesClosedForms(t *testing.T) {
	vt := atmos.TerminalSpeed(0.150, 0.090, 0.5, 1.225)
	near(t, "terminal speed", vt, 27.4777058, 1e-6)
	near(t, "time to fall 50 m from rest", fallTime(50, 0, vt), 3.547512, 1e-6)
	near(t, "speed after falling 50 m", fallSpeed(fallTime(50, 0, vt), vt), 23.431173, 1e-6)
	up, h := riseFrom(40, vt)
	near(t, "coast height from 40 m/s", h, 43.790832, 1e-6)
	near(t, "coast time from 40 m/s", up, 2.714771, 1e-6)
	near(t, "speed at the return", fallSpeed(fallTime(h, 0, vt), vt), 22.648673, 1e-6)
	near(t, "vacuum", fallTime(20.394324, 0, math.Inf(1)), 2.039432, 1e-6)

	// Parachute descent rates, computed from the published drag equation with
	// Cd on the nominal area: 0.60 m, 0.20 kg, Cd 0.75.
	near(t, "parachute", atmos.TerminalSpeed(0.20, 0.60, 0.75, 1.225), 3.88593, 1e-5)
	near(t, "density", atmos.Density(101325, 15+atmos.ZeroC), 1.225, 1e-4) // ISO 2533, sea level
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if math.Abs(got-want) > tol {
		t.Errorf("%s: got %.8g, want %.8g within %g", what, got, want, tol)
	}
}

// The time to fall must be what a plain integration of the motion takes,
// whether the start is slower or faster than the terminal speed.
func TestFallTimeAgreesWithIntegration(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := rapid.Float64Range(0.5, 300).Draw(t, "h")
		v := rapid.Float64Range(-30, 60).Draw(t, "v")
		vt := rapid.Float64Range(3, 80).Draw(t, "vt")
		got := fallTime(h, v, vt)
		if want := integrateFall(h, v, vt); math.Abs(got-want) > 2e-3*(1+want) {
			t.Fatalf("fall of %g m from %g m/s at terminal %g m/s: closed form %g s, integrated %g s", h, v, vt, got, want)
		}
	})
}

// integrateFall steps the motion with the midpoint rule until the ground.
func integrateFall(h, v, vt float64) float64 {
	const dt = 1e-3
	acc := func(v float64) float64 { return gravity * (1 - v*math.Abs(v)/(vt*vt)) }
	t := 0.0
	for h > 0 && t < 1000 {
		mid := v + acc(v)*dt/2
		h -= mid * dt
		v += acc(mid) * dt
		t += dt
	}
	return t
}
