package atmos

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"pgregory.net/rapid"
)

func column(t testing.TB, p Pad) Column {
	t.Helper()
	c, err := NewColumn(p)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// TestTemperatureScale: a pressure difference that is 100 m in the standard
// atmosphere is 105.206 m over a pad at 303.15 K and 94.794 m at 273.15 K,
// computed from the published equations: exactly T/288.15.
func TestTemperatureScale(t *testing.T) {
	p := At(100).Pressure
	for temp, want := range map[float64]float64{288.15: 100, 303.15: 105.206, 273.15: 94.794} {
		c := column(t, Pad{Pressure: 101325, Temperature: temp})
		near(t, "height", c.Height(p), want, 6e-4)
		near(t, "height against the exact scale", c.Height(p), 100*temp/288.15, 1e-9)
	}
	// What "about 0.34 % per kelvin" is at 20 degrees Celsius.
	c := column(t, Pad{Pressure: 101325, Temperature: 293.15})
	b := c.Budget(100, Errors{TemperatureK: 1})
	near(t, "one kelvin", b.Temperature, 0.341, 6e-4)
	d := column(t, Pad{Pressure: 101325, Temperature: 294.15})
	near(t, "one kelvin, against a warmer column", d.Height(c.Pressure(100))-100, b.Temperature, 1e-9)
}

// TestColumnIsStandard: over a standard pad the column is the standard
// atmosphere.
func TestColumnIsStandard(t *testing.T) {
	for _, pad := range []float64{0, 500, 2000} {
		s := At(pad)
		c := column(t, Pad{Pressure: s.Pressure, Temperature: s.Temperature})
		for _, h := range []float64{-50, 0, 1, 100, 1500, 5000} {
			up := At(pad + h)
			near(t, "height", c.Height(up.Pressure), h, 1e-6)
			near(t, "pressure", c.Pressure(h), up.Pressure, 1e-6)
			near(t, "temperature", c.Temperature(h), up.Temperature, 1e-9)
		}
	}
	c := column(t, Pad{Pressure: 101325, Temperature: 288.15})
	near(t, "metres per pascal at the pad (computed)", c.MetresPerPascal(0), 0.083242, 6e-7)
	// Sensor noise in the data sheet of a barometer, 6 Pa -> 0.5 m and 3 Pa ->
	// 0.25 m (Bosch BMP085 BST-BMP085-DS000-06 rev 1.3, table 3).
	near(t, "6 Pa", c.Budget(0, Errors{NoisePa: 6}).Noise, 0.5, 0.005)
	near(t, "3 Pa", c.Budget(0, Errors{NoisePa: 3}).Noise, 0.25, 0.005)
}

func TestIsothermalIsTheLimit(t *testing.T) {
	zero, small := 0.0, 1e-6
	a := column(t, Pad{Pressure: 9e4, Temperature: 290, Lapse: &zero})
	b := column(t, Pad{Pressure: 9e4, Temperature: 290, Lapse: &small})
	near(t, "isothermal", a.Height(8e4), GasConstant*290/StandardGravity*math.Log(9.0/8), 1e-9)
	near(t, "nearly isothermal", b.Height(8e4), a.Height(8e4), 5e-3)
	near(t, "back", a.Pressure(a.Height(8e4)), 8e4, 1e-6)
	// A lapse of almost nothing costs no digits: a difference over 2 Pa.
	for _, lapse := range []float64{1e-7, -1e-8, 1e-9, -2e-10} {
		c := column(t, Pad{Pressure: 6e4, Temperature: 250, Lapse: &lapse})
		near(t, "metres per pascal", (c.Height(59999)-c.Height(60001))/2, c.MetresPerPascal(0), 1e-9)
	}
}

func TestColumnThereAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lapse := rapid.Float64Range(-0.03, 0.0098).Draw(t, "lapse")
		c, err := NewColumn(Pad{
			Pressure:    rapid.Float64Range(6e4, 1.05e5).Draw(t, "pad"),
			Temperature: rapid.Float64Range(250, 315).Draw(t, "temperature"),
			Humidity:    rapid.Float64Range(0, 1).Draw(t, "humidity"),
			Gravity:     rapid.Float64Range(9.76, 9.84).Draw(t, "gravity"),
			Lapse:       &lapse,
		})
		if err != nil {
			t.Fatal(err)
		}
		h := rapid.Float64Range(-200, 2000).Draw(t, "h")
		if back := c.Height(c.Pressure(h)); math.Abs(back-h) > 1e-5 {
			t.Fatalf("height %g came back as %g", h, back)
		}
		// The slope is the derivative.
		p := c.Pressure(h)
		num := (c.Height(p-1) - c.Height(p+1)) / 2
		if math.Abs(num-c.MetresPerPascal(h)) > 1e-6 {
			t.Fatalf("slope %g, by difference %g", c.MetresPerPascal(h), num)
		}
	})
}

func TestBadPad(t *testing.T) {
	bad := math.NaN()
	for name, p := range map[string]Pad{
		"no pressure":         {Temperature: 288},
		"hectopascals":        {Pressure: 1013, Temperature: 288},
		"degrees Celsius":     {Pressure: 1e5, Temperature: 20},
		"percent of humidity": {Pressure: 1e5, Temperature: 290, Humidity: 60},
		"lapse not a number":  {Pressure: 1e5, Temperature: 290, Lapse: &bad},
	} {
		if _, err := NewColumn(p); err == nil {
			t.Errorf("%s: no error", name)
		} else {
			t.Logf("%s: %v", name, err)
		}
	}
	c := column(t, Pad{Pressure: 1e5, Temperature: 290})
	for _, p := range []float64{0, -3, math.NaN()} {
		if h := c.Height(p); !math.IsNaN(h) {
			t.Errorf("Height(%g) = %g, want NaN", p, h)
		}
	}
}

// level is one row of a sounding, in SI units.
type level struct{ p, h, t, humidity float64 }

func soundings(t *testing.T) map[string][]level {
	t.Helper()
	f, err := os.Open("../../testdata/atmos/soundings.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][]level{}
	for _, row := range rows[1:] {
		var v [4]float64
		for i := range v {
			if v[i], err = strconv.ParseFloat(row[i+1], 64); err != nil {
				t.Fatal(err)
			}
		}
		temp, dew := v[2]+273.15, v[3]+273.15
		out[row[0]] = append(out[row[0]], level{v[0] * 100, v[1], temp, vapourPressure(dew) / vapourPressure(temp)})
	}
	return out
}

// TestSoundings adds up layer after layer and compares with the reported
// heights. Heights aloft are rounded to up to 10 m, so no tolerance tighter
// than that can be asked for; the same sum without the moisture must be worse.
func TestSoundings(t *testing.T) {
	for name, levels := range soundings(t) {
		h, dry := levels[0].h, levels[0].h
		var worst float64
		for i, top := range levels[1:] {
			foot := levels[i]
			h += layer(t, foot, top)
			foot.humidity, top.humidity = 0, 0
			dry += layer(t, foot, top)
			worst = math.Max(worst, math.Abs(h-top.h))
			if math.Abs(h-top.h) > 10 {
				t.Errorf("%s at %.0f hPa: %.1f m, reported %.0f", name, top.p/100, h, top.h)
			}
		}
		last := levels[len(levels)-1].h
		t.Logf("%s: %d levels to %.0f m, worst %.1f m, at the top %+.1f m, without moisture %+.1f m",
			name, len(levels), last, worst, h-last, dry-last)
		if math.Abs(h-last) >= math.Abs(dry-last) {
			t.Errorf("%s: moisture makes the height worse: %+.1f against %+.1f m", name, h-last, dry-last)
		}
	}
}

// layer is the thickness between two levels with an even virtual lapse.
func layer(t *testing.T, foot, top level) float64 {
	t.Helper()
	tv0 := VirtualTemperature(foot.t, foot.p, foot.humidity)
	tv1 := VirtualTemperature(top.t, top.p, top.humidity)
	thick := GasConstant * (tv0 + tv1) / 2 / StandardGravity * math.Log(foot.p/top.p)
	for range 3 {
		lapse := (tv0 - tv1) / thick
		c := column(t, Pad{Pressure: foot.p, Temperature: tv0, Lapse: &lapse})
		thick = c.Height(top.p)
	}
	return thick
}

// TestSoundingsFromThePad asks what a rocket's board can do: pressure, and the
// temperature at the pad only. The error must be within three times what the
// budget says for an unknown lapse and 1 K, for heights that rockets reach.
func TestSoundingsFromThePad(t *testing.T) {
	for name, levels := range soundings(t) {
		foot := levels[0]
		c := column(t, Pad{Pressure: foot.p, Temperature: foot.t, Humidity: foot.humidity})
		for _, top := range levels[1:] {
			actual := top.h - foot.h
			if actual > 1600 {
				break
			}
			got := c.Height(top.p)
			sd := math.Hypot(c.Budget(actual, Errors{TemperatureK: 1, LapseKPerM: DefaultLapseSD}).Total, 3)
			t.Logf("%s: %6.0f m, from the pad %+5.1f m, sd %.1f m", name, actual, got-actual, sd)
			if math.Abs(got-actual) > 3*sd {
				t.Errorf("%s at %.0f m: off by %.1f m, budget says %.1f", name, actual, got-actual, sd)
			}
		}
	}
}

// TestBudgetAgainstTheColumn moves one input at a time and compares the height
// that follows with the budget's first-order term.
func TestBudgetAgainstTheColumn(t *testing.T) {
	pad := Pad{Pressure: 98000, Temperature: 298, Humidity: 0.5}
	c := column(t, pad)
	const h = 400.0
	p := c.Pressure(h)
	b := c.Budget(h, Errors{NoisePa: 2, StepPa: 10, PadPa: 3, DriftPa: 4, TemperatureK: 2,
		LapseKPerM: 0.001, Humidity: 0.1, LinearityPart: 0.002})
	foot, warm, moist, even := pad, pad, pad, pad
	foot.Pressure += 3
	warm.Temperature += 2
	moist.Humidity += 0.1
	lapse := Lapse + 0.001
	even.Lapse = &lapse
	footC, warmC, moistC, evenC := column(t, foot), column(t, warm), column(t, moist), column(t, even)
	for _, x := range []struct {
		name      string
		got, want float64
	}{
		{"noise", b.Noise, h - c.Height(p+2)},
		{"rounding", b.Rounding, (h - c.Height(p+10)) / math.Sqrt(12)},
		{"pad", b.Pad, footC.Height(p) - h},
		{"drift", b.Drift, h - c.Height(p+4)},
		{"temperature", b.Temperature, warmC.Height(p) - h},
		{"lapse", b.Lapse, h - evenC.Height(p)},
		{"humidity", b.Humidity, moistC.Height(p) - h},
		{"linearity", b.Linearity, c.Height(98000-1.002*(98000-p)) - h},
	} {
		near(t, x.name, x.got, x.want, 0.03*math.Abs(x.want))
	}
	sum := b.Noise*b.Noise + b.Rounding*b.Rounding + b.Pad*b.Pad + b.Drift*b.Drift + b.Temperature*b.Temperature +
		b.Lapse*b.Lapse + b.Humidity*b.Humidity + b.Linearity*b.Linearity
	near(t, "total", b.Total, math.Sqrt(sum), 1e-12)
}

func TestHeightDoesNotAllocate(t *testing.T) {
	c := column(t, Pad{Pressure: 101325, Temperature: 290, Humidity: 0.4})
	var sum float64
	if n := testing.AllocsPerRun(100, func() {
		sum += c.Height(1e5) + c.MetresPerPascal(50) + c.Budget(50, Errors{NoisePa: 2}).Total
	}); n != 0 {
		t.Errorf("%g allocations", n)
	}
	if math.IsNaN(sum) {
		t.Error("not a number")
	}
}

func BenchmarkHeight(b *testing.B) {
	c := column(b, Pad{Pressure: 101325, Temperature: 290})
	b.ReportAllocs()
	p, sum := 1e5, 0.0
	for b.Loop() {
		p = 199999 - p
		sum += c.Height(p)
	}
	if math.IsNaN(sum) {
		b.Fatal("not a number")
	}
}
