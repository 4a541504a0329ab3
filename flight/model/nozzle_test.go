package model

import (
	"math"
	"testing"
)

// near fails unless got is within the relative tolerance of want.
func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if !(math.Abs(got-want) <= rel*math.Abs(want)) {
		t.Errorf("%s = %.9g, want %.9g within %g of it", what, got, want, rel)
	}
}

// TestIsentropicTable compares the nozzle with the isentropic flow table of
// NACA Report 1135 (1953), k = 1.4, at the printed pressure ratio: the flow per
// area against that of a choked nozzle is A*/A, and the jet has the Mach number.
// Rows 0.1, 0.5 and 0.9 read in secondary copies, 0.3 and 0.8 from memory.
func TestIsentropicTable(t *testing.T) {
	const p0, t0 = 5e5, 300.0
	choked, _ := airJet(p0, t0, 0.1*p0, 1)
	for _, r := range []struct{ mach, p, temp, area float64 }{
		{0.1, 0.9930, 0.9980, 5.8218},
		{0.3, 0.9395, 0.9823, 2.0351},
		{0.5, 0.8430, 0.9524, 1.3398},
		{0.8, 0.6560, 0.8865, 1.0382},
		{0.9, 0.5913, 0.8606, 1.0089},
	} {
		flow, thrust := airJet(p0, t0, r.p*p0, 1)
		// The last printed digit of p/p0 moves the area by up to 0.4 % at low
		// Mach numbers.
		tol := 6e-5 / (1 - r.p)
		near(t, "A/A*", choked/flow, r.area, tol)
		near(t, "Mach number", thrust/flow/math.Sqrt(gasK*gasR*t0*r.temp), r.mach, tol)
	}
	near(t, "critical ratio (printed 0.5283)", criticalRatio, 0.52828179, 1e-8)
	// Computed from the equations: 1 cm2, 6e5 Pa, 300 K; and the factor
	// mdot sqrt(T0) / (A p0).
	flow, _ := airJet(6e5, 300, 101325, 1e-4)
	near(t, "choked flow", flow, 0.14000062, 1e-7)
	near(t, "flow factor", flowFactor/math.Sqrt(gasR), 0.04041470, 2e-7)
}

func TestJetIsContinuousWhereItChokes(t *testing.T) {
	p := 101325 / criticalRatio
	near(t, "choking pressure (computed)", p, 191801.05, 1e-7)
	f1, t1 := airJet(p*(1+1e-9), 280, 101325, 1e-4)
	f2, t2 := airJet(p*(1-1e-9), 280, 101325, 1e-4)
	near(t, "flow", f1, f2, 1e-7)
	near(t, "thrust", t1, t2, 1e-7)
	if f, th := airJet(101325, 280, 101325, 1e-4); f != 0 || th != 0 {
		t.Errorf("without excess pressure: flow %g, thrust %g", f, th)
	}
}
