package tune

import (
	"math"
	"testing"
)

// Score intervals as in Newcombe, Stat. Med. 17 (1998) 857, table I, method 3
// (from memory), and computed again from Wilson's formula.
func TestWilson(t *testing.T) {
	for _, c := range []struct {
		count, of int
		low, high float64
	}{
		{81, 263, 0.2553, 0.3662},
		{15, 148, 0.0624, 0.1605},
		{0, 20, 0, 0.1611},
		{1, 29, 0.0061, 0.1718},
		{29, 29, 0.8830, 1},
	} {
		r := newRate(c.count, c.of)
		if math.Abs(r.Low-c.low) > 6e-5 || math.Abs(r.High-c.high) > 6e-5 {
			t.Errorf("%d of %d: %.4f to %.4f, want %.4f to %.4f", c.count, c.of, r.Low, r.High, c.low, c.high)
		}
	}
	if r := newRate(0, 0); !math.IsNaN(r.Share) || r.Low != 0 || r.High != 1 {
		t.Errorf("nothing tried: %+v", r)
	}
}

// Newcombe, Stat. Med. 17 (1998) 873, table II, method 10, 56/70 - 48/80:
// 0.0524 to 0.3339; 9/10 - 3/10: 0.1705 to 0.8090; 6/7 - 2/7: 0.0582 to 0.8062;
// 5/56 - 0/29: -0.0381 to 0.1926 (from memory).
func TestAgree(t *testing.T) {
	for _, c := range []struct {
		a, n, b, m int
		want       bool
	}{
		{56, 70, 48, 80, false},
		{9, 10, 3, 10, false},
		{6, 7, 2, 7, false},
		{5, 56, 0, 29, true},
		{0, 1000, 0, 1000, true},
		{0, 1000, 20, 1000, false},
	} {
		if got := agree(newRate(c.a, c.n), newRate(c.b, c.m)); got != c.want {
			t.Errorf("%d/%d and %d/%d agree: %v, want %v", c.a, c.n, c.b, c.m, got, c.want)
		}
	}
}

// The interval holds the true chance in about 95 of 100 cases: computed
// exactly from the binomial distribution, no drawing.
func TestCoverage(t *testing.T) {
	for _, p := range []float64{0.001, 0.01, 0.1, 0.5} {
		const n = 2000
		term := n * math.Log1p(-p) // log of the chance of k, from k = 0
		held := 0.0
		for k := 0; k <= n; k++ {
			if r := newRate(k, n); r.Low <= p && p <= r.High {
				held += math.Exp(term)
			}
			term += math.Log(float64(n-k)/float64(k+1)) + math.Log(p) - math.Log1p(-p)
		}
		if held < 0.93 || held > 0.99 {
			t.Errorf("chance %g: covered in %.3f of the cases", p, held)
		}
	}
}
