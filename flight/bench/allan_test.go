package bench

import (
	"math"
	"math/rand/v2"
	"testing"
)

// lehmer is the data set of the published check: n(i+1) = 16807 n(i) mod
// 2147483647 from n(0) = 1234567890, each divided by 2147483647, 1000 points.
func lehmer() []float64 {
	n := uint64(1234567890)
	out := make([]float64, 1000)
	for i := range out {
		out[i] = float64(n) / 2147483647
		n = 16807 * n % 2147483647
	}
	return out
}

// TestAllanPublished compares with the worked example of NIST Special
// Publication 1065 (W. J. Riley, Handbook of Frequency Stability Analysis,
// 2008), the 1000-point test suite. The values are from memory; the data set
// and both forms are computed here, and they agree in all seven digits. The
// same table's mean 4.897745e-1 and standard deviation 2.884664e-1 show that
// the data set is the right one.
func TestAllanPublished(t *testing.T) {
	y := lehmer()
	sums := make([]float64, len(y)+1)
	var mean, square float64
	for i, v := range y {
		sums[i+1] = sums[i] + v
		mean += v / 1000
	}
	for _, v := range y {
		square += (v - mean) * (v - mean) / 999
	}
	near := func(name string, got, want float64) {
		t.Helper()
		if math.Abs(got/want-1) > 5e-7 {
			t.Errorf("%s: %.6e, published %.6e", name, got, want)
		}
	}
	near("mean", mean, 4.897745e-1)
	near("standard deviation", math.Sqrt(square), 2.884664e-1)
	for _, c := range []struct {
		m              int
		plain, overlap float64
	}{
		{1, 2.922319e-1, 2.922319e-1},
		{10, 9.965736e-2, 9.159953e-2},
		{100, 3.897804e-2, 3.241343e-2},
	} {
		near("plain", deviation(sums, c.m, c.m), c.plain)
		near("overlapping", deviation(sums, c.m, 1), c.overlap)
	}
	points := allan(y, 2)
	if len(points) != 8 || points[3].Mean != 10 || points[3].TauS != 20 {
		t.Fatalf("points: %+v", points)
	}
	near("point", points[3].Dev, 9.159953e-2)
}

// White noise of deviation s has the Allan deviation s/sqrt(m), a drift of d a
// second d*tau/sqrt(2) (both exact, by the definition).
func TestAllanOfKnownNoise(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	white, drift := make([]float64, 20000), make([]float64, 500)
	for i := range white {
		white[i] = 1e5 + 3*rng.NormFloat64()
	}
	for i := range drift {
		drift[i] = 0.2 * float64(i)
	}
	for _, p := range allan(white, 0.02) {
		if want := 3 / math.Sqrt(float64(p.Mean)); math.Abs(p.Dev-want) > 4*p.SD {
			t.Errorf("white noise, %d readings: %.4f ± %.4f, want %.4f", p.Mean, p.Dev, p.SD, want)
		}
	}
	for _, p := range allan(drift, 1) {
		if want := 0.2 * p.TauS / math.Sqrt2; math.Abs(p.Dev/want-1) > 1e-9 {
			t.Errorf("drift, %g s: %g, want %g", p.TauS, p.Dev, want)
		}
	}
	if p := allan(nil, 1); p != nil {
		t.Errorf("of nothing: %v", p)
	}
}

func TestEven(t *testing.T) {
	at := []float64{0, 1, 2, 4, 5, 20, 21, 22}
	y := []float64{0, 1, 2, 4, 5, 9, 9, 9}
	got := even(at, y, 1, 2.5)
	if len(got) != 6 || got[3] != 3 || got[5] != 5 {
		t.Errorf("got %v", got)
	}
	if even([]float64{1}, []float64{1}, 1, 2) != nil {
		t.Error("one reading is no record")
	}
}
