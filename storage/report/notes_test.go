package report

import (
	"errors"
	"math"
	"padlark/flight/phrase"
	"testing"
)

func TestReadTyped(t *testing.T) {
	for _, c := range []struct {
		notes                []string
		fill, pressure, mass float64 // NaN for none
	}{
		{[]string{"fill 650 mL, pressure 4.0 bar, mass 152 g"}, 650, 4, 152},
		{[]string{"Fill=0.7l; PRESSURE: 55 psi"}, 700, 3.7921, math.NaN()},
		{[]string{"water 60 cl", "mass 0,16 kg", "water 650 ml"}, 650, math.NaN(), 160},
		{[]string{"pressure 400 kPa"}, math.NaN(), 4, math.NaN()},
		{[]string{"pressure 4 g, fill 3 bar", "unfill 3 ml", "a calm day"}, math.NaN(), math.NaN(), math.NaN()},
		{[]string{"650ml water, 4 bar"}, 650, 4, math.NaN()},
		{[]string{"0.65 l at 4.1 bar and 152 g"}, 650, 4.1, 152},
		{[]string{"water 650 mL pressure 4 bar mass 150 g"}, 650, 4, 150},
		{[]string{"a 2 l bottle, lost 3 g of tape, rated 5 bar"}, math.NaN(), math.NaN(), math.NaN()},
		{nil, math.NaN(), math.NaN(), math.NaN()},
	} {
		got := ReadTyped(c.notes)
		for _, q := range []struct {
			name string
			v    *float64
			want float64
		}{{"fill", got.FillMl, c.fill}, {"pressure", got.PressureBar, c.pressure}, {"mass", got.MassG, c.mass}} {
			switch {
			case q.v == nil && math.IsNaN(q.want):
			case q.v == nil || math.Abs(*q.v-q.want) > 1e-3:
				t.Errorf("%q: %s is %v, want %g", c.notes, q.name, q.v, q.want)
			}
		}
	}
}

func TestTypedWords(t *testing.T) {
	for note, want := range map[string]string{
		"650ml water, 4 bar":                        "water 650 mL, pressure 4 bar",
		"wind 3 m/s, nozzle 21.7 mm, weight 0.15kg": "mass 150 g, nozzle 21.7 mm, wind 3 m/s",
		"9 mm nozzle 10 km/h wind":                  "nozzle 9 mm, wind 2.8 m/s",
		"fine":                                      "",
	} {
		if got := ReadTyped([]string{note}).Words(); got != want {
			t.Errorf("%q is read as %q, want %q", note, got, want)
		}
	}
}

func FuzzReadTyped(f *testing.F) {
	f.Add("fill 650 mL, pressure 4.0 bar, mass 152 g")
	f.Add("mass=1,5kg pressure:: 4bar")
	f.Add("fill 999999.9999 l")
	f.Fuzz(func(t *testing.T, note string) {
		got := ReadTyped([]string{note})
		for _, v := range []*float64{got.FillMl, got.PressureBar, got.MassG, got.NozzleMm, got.WindMps} {
			if v != nil && !(*v >= 0 && *v < 1e10) {
				t.Errorf("%q gives %g", note, *v)
			}
		}
		_ = got.Words()
	})
}

func FuzzSplitName(f *testing.F) {
	for _, s := range []string{"Teal-1", "20260613-090000~Teal~1", "Teal~2", "a-b-3", "~~", "-1", "Teal-0"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		_, rocket, n, err := splitName(text)
		if err == nil && (rocket == "" || n < 1) {
			t.Errorf("%q gives rocket %q flight %d", text, rocket, n)
		}
		if err != nil && !errors.Is(err, errNotFound) {
			t.Errorf("%q: %v", text, err)
		}
	})
}

func TestSplitName(t *testing.T) {
	for text, want := range map[string]Ref{
		"Teal-1": {"", "Teal", 1}, "Teal-001-12": {"", "Teal-001", 12}, "Teal 2": {"", "Teal", 2},
		"Teal~3": {"", "Teal", 3}, "20260613-0900~Teal~1": {"20260613-0900", "Teal", 1},
	} {
		s, r, n, err := splitName(text)
		if err != nil || (Ref{s, r, n}) != want {
			t.Errorf("%q: %q %q %d %v", text, s, r, n, err)
		}
	}
	for _, text := range []string{"", "Teal", "Teal-", "Teal-x", "Teal-0", "a~b~c~1", "~1"} {
		if _, _, _, err := splitName(text); err == nil {
			t.Errorf("%q was taken", text)
		}
	}
}

func TestPlusMinus(t *testing.T) {
	sd := func(v float64) *float64 { return &v }
	for _, c := range []struct {
		v    float64
		sd   *float64
		want string
	}{
		{112.934, sd(0.649), "112.93 ± 0.65 m"}, {48.77, sd(2.04), "48.8 ± 2.0 m"}, {312.4, sd(23), "312 ± 23 m"},
		{20.13, nil, "20.1 m"}, {0.021, nil, "0.02 m"}, {4, sd(0), "4.00 m"},
	} {
		if got := plusMinus(phrase.Reader{}, c.v, c.sd, "m"); got != c.want {
			t.Errorf("%g: %q, want %q", c.v, got, c.want)
		}
	}
	// The foot is 0.3048 m exactly (agreement of 1959).
	if got, want := plusMinus(phrase.Reader{Feet: true}, 30.48, sd(0.6096), "m/s"), "100.0 ± 2.0 ft/s"; got != want {
		t.Errorf("in feet: %q, want %q", got, want)
	}
}
