package report

import (
	"math"
	"strings"
	"testing"
)

// TestWelchPublished: a worked example that is printed in many places (two
// groups of 15; t = -2.46, 25.0 degrees of freedom, p = 0.021; from memory).
func TestWelchPublished(t *testing.T) {
	a := []float64{27.5, 21.0, 19.0, 23.6, 17.0, 17.9, 16.9, 20.1, 21.9, 22.6, 23.1, 19.6, 19.0, 21.7, 21.4}
	b := []float64{27.1, 22.0, 20.8, 23.4, 23.4, 23.5, 25.8, 22.0, 24.8, 20.2, 21.9, 22.1, 22.9, 20.5, 24.4}
	tt, df, p, se := welch(a, b)
	// Second less first here, so the sign is the other one.
	if math.Abs(tt-2.46) > 0.005 || math.Abs(df-25.0) > 0.05 || math.Abs(p-0.021) > 0.0005 {
		t.Errorf("t %.4f, df %.3f, p %.5f", tt, df, p)
	}
	if math.Abs(se*tt-(22.987-20.820)) > 0.002 {
		t.Errorf("difference %.4f", se*tt)
	}
}

// TestWilsonPublished: 1 of 10 gives 0.0179 to 0.4042 (printed by common
// statistics programs; from memory), 0 of 1 ends at z2/(1+z2) = 0.7935 (exact).
func TestWilsonPublished(t *testing.T) {
	for _, c := range []struct {
		k, n   int
		lo, hi float64
	}{{1, 10, 0.0179, 0.4042}, {0, 1, 0, 0.7935}, {1, 1, 0.2065, 1}, {0, 0, 0, 1}} {
		lo, hi := wilson(c.k, c.n)
		if math.Abs(lo-c.lo) > 6e-5 || math.Abs(hi-c.hi) > 6e-5 {
			t.Errorf("%d of %d: %.5f to %.5f, want %.4f to %.4f", c.k, c.n, lo, hi, c.lo, c.hi)
		}
	}
}

func values(sd float64, v ...float64) []value {
	out := make([]value, len(v))
	for i := range v {
		out[i] = value{v: v[i]}
		if sd > 0 {
			out[i].sd = &sd
		}
	}
	return out
}

func TestSpread(t *testing.T) {
	for _, c := range []struct {
		name  string
		list  []value
		words string
	}{
		{"none", nil, "no flight"},
		{"one", values(1, 70), "one flight"},
		{"alike", values(1, 70, 70.5, 69.6), "no larger than the measurement"},
		{"apart", values(1, 60, 70, 80), "differ by more"},
		{"unknown ±", values(0, 60, 70, 80), "not known"},
	} {
		s := spreadOf(c.list)
		if s.N != len(c.list) || !strings.Contains(s.Words, c.words) {
			t.Errorf("%s: %+v", c.name, s)
		}
	}
	s := spreadOf(values(1, 60, 70, 80))
	// (100 + 0 + 100) / 1 for two degrees of freedom: exp(-100) (exact).
	if *s.Mean != 70 || *s.SD != 10 || math.Abs(*s.SE-10/math.Sqrt(3)) > 1e-12 || *s.Chi2P > 1e-40 {
		t.Errorf("spread: mean %g, sd %g, se %g, p %g", *s.Mean, *s.SD, *s.SE, *s.Chi2P)
	}
	if s := spreadOf(values(10, 60, 70, 80)); math.Abs(*s.Chi2P-math.Exp(-1)) > 1e-9 {
		t.Errorf("p %g, want exp(-1), as chi-squared is 2 with 2 degrees of freedom", *s.Chi2P)
	}
}

func TestContrast(t *testing.T) {
	for _, c := range []struct {
		name, words, test string
		a, b              []value
	}{
		{"far apart", "larger than the noise (Welch", "Welch's t-test", values(1, 70, 71, 72, 71), values(1, 90, 91, 92, 91)},
		{"alike", "not larger than the noise", "Welch's t-test", values(1, 70, 75, 72), values(1, 73, 71, 76)},
		{"one each, far", "times what", "none", values(0.5, 70), values(0.5, 90)},
		{"one each, near", "within twice", "none", values(0.5, 70), values(0.5, 70.4)},
		{"one each, no ±", "too few flights", "none", values(0, 70), values(0, 70.4)},
		{"nothing", "no such number", "none", nil, values(1, 1)},
		{"no spread", "no test", "Welch's t-test", values(1, 70, 70), values(1, 70, 70)},
	} {
		got := contrast(c.a, c.b)
		if got.Test != c.test || !strings.Contains(got.Words, c.words) {
			t.Errorf("%s: %+v", c.name, got)
		}
	}
}

func TestTrend(t *testing.T) {
	if b, _ := trend([]float64{1, 2}); b != nil {
		t.Error("a trend from two")
	}
	b, sd := trend([]float64{4.1, 4.0, 3.9, 3.8})
	if math.Abs(*b+0.1) > 1e-12 || *sd > 1e-12 {
		t.Errorf("%g ± %g", *b, *sd)
	}
}
