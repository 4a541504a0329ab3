package report

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Spread is what repeated flights have in common in one quantity.
type Spread struct {
	N    int      `json:"n"` // flights that have the number
	Mean *float64 `json:"mean"`
	// SD is between the flights, SE of the mean, Within the root mean square of
	// the flights' own standard deviations; nil where it cannot be told.
	SD     *float64 `json:"sd"`
	SE     *float64 `json:"se"`
	Within *float64 `json:"measurement_sd"`
	// Chi2P is the chance of a spread this large, were the flights all alike and
	// only measured with their ± (chi-squared test of homogeneity); nil for
	// fewer than two flights or without ±.
	Chi2P *float64 `json:"chi2_p"`
	Words string   `json:"words"`
}

// value is one flight's number with its own standard deviation, nil if it has
// none.
type value struct {
	v  float64
	sd *float64
}

func floats(values []value) []float64 {
	out := make([]float64, len(values))
	for i := range values {
		out[i] = values[i].v
	}
	return out
}

// spreadOf sums up repeated flights.
func spreadOf(values []value) Spread {
	s := Spread{N: len(values)}
	if s.N == 0 {
		s.Words = "no flight has this number"
		return s
	}
	mean, sd := stat.MeanStdDev(floats(values), nil)
	if s.N == 1 {
		mean = values[0].v
	}
	s.Mean = &mean
	s.Within, s.Chi2P = homogeneity(values)
	if s.N == 1 {
		s.Words = "one flight: nothing can be said of how well it repeats"
		return s
	}
	se := sd / math.Sqrt(float64(s.N))
	s.SD, s.SE = &sd, &se
	switch {
	case s.Chi2P == nil:
		s.Words = fmt.Sprintf("n = %d; the measurement's own ± is not known", s.N)
	case *s.Chi2P < 0.05:
		s.Words = fmt.Sprintf("they differ by more than their own ± (chi-squared, p %s, n = %d)", probability(*s.Chi2P), s.N)
	default:
		s.Words = fmt.Sprintf("no larger than the measurement's own ± (chi-squared, p %s, n = %d)", probability(*s.Chi2P), s.N)
	}
	return s
}

// homogeneity compares the values with their weighted mean.
func homogeneity(values []value) (within, p *float64) {
	var w, wx, square float64
	for _, x := range values {
		if x.sd == nil || !(*x.sd > 0) {
			return nil, nil
		}
		w += 1 / (*x.sd * *x.sd)
		wx += x.v / (*x.sd * *x.sd)
		square += *x.sd * *x.sd / float64(len(values))
	}
	rms := math.Sqrt(square)
	if len(values) < 2 {
		return &rms, nil
	}
	chi2 := 0.0
	for _, x := range values {
		d := (x.v - wx/w) / *x.sd
		chi2 += d * d
	}
	q := distuv.ChiSquared{K: float64(len(values) - 1)}.Survival(chi2)
	return &rms, &q
}

// Contrast is the difference of two groups of flights in one quantity.
type Contrast struct {
	Difference *float64 `json:"difference"` // second less first
	SE         *float64 `json:"se"`
	// Test names the test, DF its degrees of freedom, P the chance of a
	// difference this large if there were none (two-sided).
	Test  string   `json:"test"`
	T     *float64 `json:"t"`
	DF    *float64 `json:"df"`
	P     *float64 `json:"p"`
	Words string   `json:"words"`
}

// level is the chance below which a difference is called larger than the noise.
const level = 0.05

// contrast compares two groups: Welch's t-test (B. L. Welch, Biometrika 34,
// 1947) where both have two flights or more. With a single flight in a group
// nothing is known of how well it repeats; then the difference is only set
// against the measurement's own ±.
func contrast(a, b []value) Contrast {
	if len(a) == 0 || len(b) == 0 {
		return Contrast{Test: "none", Words: "a group has no such number"}
	}
	if len(a) < 2 || len(b) < 2 {
		return single(a, b)
	}
	t, df, p, se := welch(floats(a), floats(b))
	d := stat.Mean(floats(b), nil) - stat.Mean(floats(a), nil)
	c := Contrast{Difference: &d, SE: &se, Test: "Welch's t-test"}
	if se == 0 {
		c.Words = "no spread within the groups: no test is possible"
		return c
	}
	c.T, c.DF, c.P = &t, &df, &p
	n := fmt.Sprintf("Welch's t-test, n = %d and %d, p %s", len(a), len(b), probability(p))
	if p < level {
		c.Words = "larger than the noise (" + n + ")"
	} else {
		c.Words = "not larger than the noise (" + n + ")"
	}
	if len(a) < 4 || len(b) < 4 {
		c.Words += "; with so few flights only large differences can show"
	}
	return c
}

// welch is t, degrees of freedom, two-sided chance and standard error.
func welch(a, b []float64) (t, df, p, se float64) {
	ma, va := stat.MeanVariance(a, nil)
	mb, vb := stat.MeanVariance(b, nil)
	na, nb := float64(len(a)), float64(len(b))
	qa, qb := va/na, vb/nb
	se = math.Sqrt(qa + qb)
	t = (mb - ma) / se
	df = (qa + qb) * (qa + qb) / (qa*qa/(na-1) + qb*qb/(nb-1))
	p = 2 * distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Survival(math.Abs(t))
	return t, df, p, se
}

// single sets a difference against the measurements' ± alone.
func single(a, b []value) Contrast {
	d := stat.Mean(floats(b), nil) - stat.Mean(floats(a), nil)
	c := Contrast{Difference: &d, Test: "none", Words: "too few flights for a test; how well a flight repeats is not known"}
	wa, _ := homogeneity(a)
	wb, _ := homogeneity(b)
	if wa == nil || wb == nil {
		return c
	}
	se := math.Hypot(*wa/math.Sqrt(float64(len(a))), *wb/math.Sqrt(float64(len(b))))
	c.SE = &se
	if math.Abs(d) > 2*se {
		c.Words = fmt.Sprintf("%.1f times what the measurement's ± allows for; how well a flight repeats is not known with n = %d and %d", math.Abs(d)/se, len(a), len(b))
	} else {
		c.Words = fmt.Sprintf("within twice the measurement's ± (n = %d and %d)", len(a), len(b))
	}
	return c
}

func probability(p float64) string {
	if p < 0.001 {
		return "< 0.001"
	}
	return fmt.Sprintf("= %.3f", p)
}

// wilson is the interval that holds a rate of k in n with about 95 %
// confidence (E. B. Wilson, J. Am. Stat. Assoc. 22, 1927).
func wilson(k, n int) (lo, hi float64) {
	if n == 0 {
		return 0, 1
	}
	z := distuv.UnitNormal.Quantile(0.975)
	p, m := float64(k)/float64(n), float64(n)
	mid := (p + z*z/(2*m)) / (1 + z*z/m)
	half := z / (1 + z*z/m) * math.Sqrt(p*(1-p)/m+z*z/(4*m*m))
	return max(0, mid-half), min(1, mid+half)
}
