package atmos

import (
	"math"
	"testing"
)

// near fails unless got is within tol of want.
func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.9g, want %.9g within %g", what, got, want, tol)
	}
}

// Full digits computed from the published equations and constants of the US
// Standard Atmosphere 1976. The rows 0, 11000 and 20000 m geopotential agree
// with a printed table (av8n.com, layer table), the geometric pressures of
// 1000, 2000, 5000, 10000, 11000 and 20000 m with the printed standard (from
// memory: 8.9876+4, 7.9501+4, 5.4048+4, 2.6500+4, 2.2700+4, 5.5293+3 Pa).
var standardRows = []struct {
	h                float64 // m
	t, p, rho        float64 // at geopotential height h
	geoH, gT, gP, gR float64 // at geometric height h
}{
	{-500, 291.400, 107477.507, 1.28489, -500.04, 291.400, 107478.002, 1.28489},
	{0, 288.150, 101325.000, 1.22500, 0, 288.150, 101325.000, 1.22500},
	{100, 287.500, 100129.439, 1.21328, 100.00, 287.500, 100129.457, 1.21328},
	{300, 286.200, 97772.577, 1.19010, 299.99, 286.200, 97772.742, 1.19011},
	{500, 284.900, 95460.839, 1.16727, 499.96, 284.900, 95461.289, 1.16727},
	{1000, 281.650, 89874.571, 1.11164, 999.84, 281.651, 89876.285, 1.11166},
	{2000, 275.150, 79495.216, 1.00649, 1999.37, 275.154, 79501.425, 1.00655},
	{3000, 268.650, 70108.545, 0.90912, 2998.58, 268.659, 70121.162, 0.90925},
	{5000, 255.650, 54019.912, 0.73612, 4996.07, 255.676, 54048.286, 0.73643},
	{10000, 223.150, 26436.268, 0.41271, 9984.29, 223.252, 26499.898, 0.41351},
	{11000, 216.650, 22632.064, 0.36392, 10981.00, 216.774, 22699.961, 0.36480},
	{20000, 216.650, 5474.889, 0.08803, 19937.27, 216.650, 5529.312, 0.08891},
}

func TestStandardRows(t *testing.T) {
	for _, r := range standardRows {
		s := At(r.h)
		near(t, "geopotential temperature", s.Temperature, r.t, 6e-4)
		near(t, "geopotential pressure", s.Pressure, r.p, 6e-4)
		near(t, "geopotential density", s.Density, r.rho, 6e-6)
		h := Geopotential(r.h)
		near(t, "geopotential height", h, r.geoH, 6e-3)
		g := At(h)
		near(t, "geometric temperature", g.Temperature, r.gT, 6e-4)
		near(t, "geometric pressure", g.Pressure, r.gP, 6e-4)
		near(t, "geometric density", g.Density, r.gR, 6e-6)
	}
}

// TestFootTable checks a printed table (engineeringtoolbox.com, standard
// atmosphere in feet and psi; its heights are geometric).
func TestFootTable(t *testing.T) {
	const foot, psi = 0.3048, 6894.757293168
	for ft, want := range map[float64]float64{
		5000: 12.228, 10000: 10.108, 15000: 8.297, 20000: 6.759, 25000: 5.461,
		30000: 4.373, 35000: 3.468, 40000: 2.730, 50000: 1.692, 60000: 1.049,
	} {
		near(t, "pressure in psi", At(Geopotential(ft*foot)).Pressure/psi, want, 6e-4)
	}
}

// TestPressureAltitude: computed from the published equations.
func TestPressureAltitude(t *testing.T) {
	for p, want := range map[float64]float64{
		101325: 0, 101313: 0.999, 100653: 56.090, 100009: 110.127, 100000: 110.885,
		95000: 540.337, 90000: 988.501, 89874.6: 999.997, 85000: 1457.300,
		70000: 3012.183, 69964: 3016.226, 50000: 5574.437,
	} {
		near(t, "pressure at an altitude", At(want).Pressure, p, 8e-3)
	}
}

func TestConstants(t *testing.T) {
	near(t, "exponent (printed 5.255876 by UCSC)", exponent, 5.255876, 6e-7)
	near(t, "scale height 11-20 km (computed)", scaleHeight, 6341.62, 5e-3)
	near(t, "density at 0 m (computed)", At(0).Density, 1.2249992, 6e-8)
	near(t, "slope at 0 m in Pa/m (computed)", At(0.5).Pressure-At(-0.5).Pressure, -12.01314, 2e-5)
	near(t, "slope at 500 m in Pa/m (computed)", At(500.5).Pressure-At(499.5).Pressure, -11.44701, 3e-5)
}

func TestOutOfRange(t *testing.T) {
	for _, h := range []float64{Top + 1, bottom - 1, math.NaN(), math.Inf(1)} {
		if s := At(h); !math.IsNaN(s.Pressure) {
			t.Errorf("At(%g) = %v, want NaN", h, s)
		}
	}
}

// TestVapour: saturation pressures of the steam tables, 611.7 Pa at 0.01,
// 1228 at 10, 2339 at 20, 4246 at 30 and 7384 at 40 degrees Celsius (from
// memory); the Magnus form is good to 0.3 %.
func TestVapour(t *testing.T) {
	for c, want := range map[float64]float64{0.01: 611.7, 10: 1228, 20: 2339, 30: 4246, 40: 7384} {
		near(t, "vapour pressure", vapourPressure(273.15+c), want, want*3e-3)
	}
	near(t, "dry air", VirtualTemperature(288.15, 1e5, 0), 288.15, 0)
}
