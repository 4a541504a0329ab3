package decode

import (
	"math"
	"strings"
	"testing"
)

// TestUnitConversions checks values that are known from outside.
func TestUnitConversions(t *testing.T) {
	for _, c := range []struct {
		channel, unit string
		in, want, tol float64
		source        string
	}{
		{"pressure_pa", "hPa", 1013.25, 101325, 1e-6, "ISO 2533"},
		{"pressure_pa", "mbar", 1013.25, 101325, 1e-6, "ISO 2533"},
		{"pressure_pa", "inHg", 29.92126, 101325, 0.1, "US Standard Atmosphere 1976, from memory"},
		{"pressure_pa", "psi", 12.228, 84309.1, 4, "geometric 5000 ft, a printed table (12.228 psi) and US Standard Atmosphere 1976"},
		{"pressure_pa", "kPa", 101.325, 101325, 1e-6, "ISO 2533"},
		{"pressure_pa", "dPa", 1013250, 101325, 1e-6, "definition of deci"},
		{"pressure_pa", "cPa", 10132500, 101325, 1e-6, "definition of centi"},
		{"temperature_c", "K", 288.15, 15, 1e-9, "ISO 2533"},
		{"temperature_c", "degF", 59, 15, 1e-9, "ISO 2533"},
		{"temperature_c", "degF", 212, 100, 1e-9, "definition of the Fahrenheit scale"},
		{"temperature_c", "cdegC", 2150, 21.5, 0, "definition of centi"},
		{"altitude_m", "ft", 1000, 304.8, 1e-9, "international foot"},
		{"accel_mps2", "g", 1, 9.80665, 0, "standard gravity, ISO 2533"},
		{"velocity_mps", "kn", 22.4, 11.52356, 1e-5, "1852 m an hour"},
		{"cell_v", "mV", 4012, 4.012, 0, "definition of milli"},
		{"release_us", "ms", 1.5, 1500, 1e-9, "definition of milli"},
		{"heading_deg", "rad", math.Pi, 180, 1e-12, "definition of the radian"},
		{"latitude_deg", "deg1e7", 481173000, 48.1173, 1e-12, "definition"},
	} {
		conv, err := conversionFor(c.channel, c.unit)
		if err != nil {
			t.Error(err)
			continue
		}
		near(t, c.channel+" from "+c.unit+" ("+c.source+")", conv.apply(c.in), c.want, c.tol)
		near(t, c.channel+" back to "+c.unit, conv.invert(conv.apply(c.in)), c.in, 1e-9*math.Abs(c.in))
	}
}

// TestDecimalsStayShort shows why conversions divide: 20.07, not
// 20.070000000000004.
func TestDecimalsStayShort(t *testing.T) {
	conv, _ := conversionFor("temperature_c", "cdegC")
	for raw := -4000.0; raw <= 8500; raw++ {
		if s := number(conv.apply(raw)); len(s) > 6 {
			t.Fatalf("%v becomes %s", raw, s)
		}
	}
}

func TestWrongUnits(t *testing.T) {
	for _, c := range []struct{ channel, unit, want string }{
		{"pressure_pa", "bars", "for pressure_pa write one of: Pa, dPa, cPa, hPa, kPa, mbar, bar, inHg, psi"},
		{"pressure_pa", "m", `unit "m" measures length, but pressure_pa is a pressure in Pa; write one of: Pa,`},
		{"cell_v", "hPa", "write one of: V, mV, cV"},
		{"temperature_c", "C", "write one of: degC, cdegC, ddegC, mdegC, degF, K"},
		{"pressure_pa", "PA", "unknown unit"},
		{"count", "V", `the name "count" does not end in a unit`},
		{"altitude_m", "ms", `unit "ms" measures time`},
		{"count", "furlong", "the units are:"},
	} {
		if _, err := conversionFor(c.channel, c.unit); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s in %s: %v, want %q in it", c.channel, c.unit, err, c.want)
		}
	}
	if _, err := clockScale("V"); err == nil || !strings.Contains(err.Error(), "for clock write one of: s, ms, us, ns, min, hhmmss") {
		t.Errorf("clock in V: %v", err)
	}
}

// TestEverySuffixHasItsUnit keeps the two tables together.
func TestEverySuffixHasItsUnit(t *testing.T) {
	for _, s := range suffixes() {
		u, ok := findUnit(s.unit)
		if !ok {
			t.Errorf("suffix %s: no unit %s", s.suffix, s.unit)
		}
		for _, name := range fitting(u.quantity) {
			if _, err := conversionFor("x"+s.suffix, name); err != nil {
				t.Error(err)
			}
		}
	}
	for _, name := range []string{PressurePa, TemperatureC, AltitudeM, VelocityMps, AccelMps2, AccelXMps2, CellV, ReleaseUs, LatitudeDeg, GPSAltitudeM, RSSIDbm, SNRDb} {
		if _, ok := channelUnit(name); !ok {
			t.Errorf("channel %s has no unit", name)
		}
	}
}
