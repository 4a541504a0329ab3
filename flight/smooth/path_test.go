package smooth

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// TestPathIsTheClosedForm: coast with quadratic drag, m 0.150 kg, Cd 0.5,
// 90 mm, 1.225 kg/m3, so a terminal speed of 27.4777058 m/s (computed from the
// published equations; NASA Glenn, "Flight Equations with Drag"). The thinning
// of the air is undone, for the closed form has none.
func TestPathIsTheClosedForm(t *testing.T) {
	for _, c := range []struct{ v, h, t float64 }{
		{20, 16.365477, 1.762934}, {30, 30.212099, 2.323522}, {40, 43.790832, 2.714771}, {50, 56.249859, 2.993307},
	} {
		p := path{}
		q := params{pHeight: 0, pSpeed: c.v, pDrag: math.Log(gravity / (27.4777058 * 27.4777058))}
		at, h := p.apex(&q)
		// Air 1 % thinner per 95 m: within 0.15 % of the climb here.
		if math.Abs(at-c.t) > 1.5e-3*c.t || math.Abs(h-c.h) > 2e-3*c.h {
			t.Errorf("%g m/s: apogee %.4f m at %.4f s, want %.4f m at %.4f s", c.v, h, at, c.h, c.t)
		}
	}
}

// steepest is the drag per speed in 1/s up to which steps of pathStep are good to
// a millimetre: 200 m/s at the drag of a solid rocket, 67 m/s for the bluntest
// body.
const steepest = 2.0

// TestPathThereAndBack: integrating forth and back ends where it began.
func TestPathThereAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := params{
			pHeight: rapid.Float64Range(0, 500).Draw(t, "h"), pSpeed: rapid.Float64Range(-20, 60).Draw(t, "v"),
			pDrag: rapid.Float64Range(-8, -3.5).Draw(t, "drag"), pAcross: rapid.Float64Range(0, 10).Draw(t, "across"),
		}
		p := path{}
		f := p.flow(&q)
		dt := rapid.Float64Range(-0.8, 2).Draw(t, "dt")
		s := f.to(0, dt, anchored(&q))
		if f.body*math.Abs(s.v) > steepest {
			t.Skip("backwards in time drag blows up: the speed is infinite a moment earlier")
		}
		b := f.to(dt, 0, s)
		if math.Abs(b.h-q[pHeight]) > 1e-3 || math.Abs(b.v-q[pSpeed]) > 1e-3 {
			t.Fatalf("came back to %.5f m %.5f m/s from %.5f m %.5f m/s", b.h, b.v, q[pHeight], q[pSpeed])
		}
	})
}

// TestWhiten: what the noise's own filter makes of that noise is white, with
// variance one.
func TestWhiten(t *testing.T) {
	n := noise{white: 0.06, gust: 0.04, gustTau: 1.5, wander: 0.002}
	rng := rand.New(rand.NewPCG(5, 6))
	const size = 40000
	ts, e, extra, base := make([]float64, size), make([]float64, size), make([]float64, size), make([]float64, size)
	gust, level := math.Sqrt(n.gust)*rng.NormFloat64(), 12.0
	for i := range ts {
		dt := 0.01 + 0.03*rng.Float64()
		if i > 0 {
			ts[i] = ts[i-1] + dt
		}
		a := math.Exp(-dt / n.gustTau)
		gust = a*gust + math.Sqrt(n.gust*(1-a*a))*rng.NormFloat64()
		level += math.Sqrt(n.wander*dt) * rng.NormFloat64()
		e[i] = gust + level + math.Sqrt(n.white)*rng.NormFloat64()
	}
	n.whiten(ts, extra, [][]float64{e}, base)
	var s2, lag float64
	for i := 1; i < size; i++ {
		s2 += e[i] * e[i] / size
		lag += e[i] * e[i-1] / size
	}
	if math.Abs(s2-1) > 0.03 || math.Abs(lag) > 0.02 {
		t.Errorf("variance %.3f, correlation with the next %.3f", s2, lag)
	}
}

// TestFitMeetsTheBound: with white noise, drag and all else known and only
// height and speed at the top free, the apogee's spread and the fit's own
// standard deviation are the Cramér-Rao bound of a vertex of known curvature:
// N 41, dt 0.05 s, sd 0.25 m give 0.00672966 s (computed from the published
// equations).
func TestFitMeetsTheBound(t *testing.T) {
	const n, dt, sd, bound = 41, 0.05, 0.25, 0.00672966
	rng := rand.New(rand.NewPCG(8, 9))
	var sum float64
	const runs = 300
	for range runs {
		pr := problem{noise: noise{white: sd * sd, gust: 1e-12, gustTau: 1.5, wander: 1e-12}, iterations: 10, start: -5, ground: math.NaN()}
		pr.path = path{anchor: 0.1}
		pr.prior[pHeight], pr.prior[pSpeed] = prior{30, 1e3}, prior{0, 1e3}
		pr.begin = params{pHeight: 29, pSpeed: 1, pDrag: -30, pRest: -1e6}
		// A long pad tells the level.
		for i := range 4000 {
			pr.t, pr.h, pr.soft = append(pr.t, -300+float64(i)*0.05), append(pr.h, sd*rng.NormFloat64()), append(pr.soft, 0)
		}
		for i := range n {
			x := (float64(i) - (n-1)/2) * dt
			pr.t, pr.h, pr.soft = append(pr.t, x), append(pr.h, 30-gravity/2*x*x+sd*rng.NormFloat64()), append(pr.soft, 0)
		}
		f, err := pr.solve()
		if err != nil {
			t.Fatal(err)
		}
		at, _ := f.path.apex(&f.q)
		sum += at * at
		if own := (&analysis{fit: &f}).apogeeTimeSD(); math.Abs(own/tooWide-bound) > 0.06*bound {
			t.Fatalf("own sd %.6f s, bound %.6f", own, bound)
		}
	}
	if got := math.Sqrt(sum / runs); got < 0.9*bound || got > 1.12*bound {
		t.Errorf("spread %.6f s, bound %.6f", got, bound)
	}
}

// TestInvert multiplies a matrix with its inverse.
func TestInvert(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, nParams).Draw(t, "n")
		a := make([][]float64, n)
		x := make([]float64, n*n)
		for i := range x {
			x[i] = rapid.Float64Range(-1, 1).Draw(t, "x")
		}
		for i := range a {
			a[i] = make([]float64, n)
			for j := range n {
				for k := range n {
					a[i][j] += x[i*n+k] * x[j*n+k]
				}
			}
			a[i][i] += 0.1
		}
		inv, _, ok := invert(a)
		if !ok {
			t.Fatal("positive definite, but not inverted")
		}
		for i := range n {
			for j := range n {
				s := 0.0
				for k := range n {
					s += a[i][k] * inv[k][j]
				}
				want := 0.0
				if i == j {
					want = 1
				}
				if math.Abs(s-want) > 1e-8 {
					t.Fatalf("product at %d, %d is %g", i, j, s)
				}
			}
		}
	})
	if _, _, ok := invert([][]float64{{1, 2}, {2, 1}}); ok {
		t.Error("an indefinite matrix was inverted")
	}
}

// TestPathEnds: a path that never meets the ground is not followed for ever.
func TestPathEnds(t *testing.T) {
	p := path{canopy: true}
	q := params{pHeight: 100, pDrag: -5, pFill: 1, pCanopy: 3, pRest: -1e6}
	if at := p.touchdown(&q, math.Inf(1)); !math.IsInf(at, 1) {
		t.Errorf("touchdown at %g s", at)
	}
	if at, _ := p.carries(&q, math.Inf(1)); math.IsInf(at, 1) || at < 0 {
		t.Errorf("carries from %g s", at)
	}
}

// TestGroundIsHeld: no reading after the touchdown tells of the parachute. If one
// did, because a touchdown that is a moment later would catch it in the air, the
// sink rate of a descent of 100 s would seem known ten times as well as it is.
func TestGroundIsHeld(t *testing.T) {
	pr := problem{path: path{anchor: 0, canopy: true}, start: -5}
	for i := range 2400 {
		pr.t, pr.h = append(pr.t, float64(i)*0.05), append(pr.h, 0)
	}
	f := fit{path: pr.path, free: []int{pHeight, pCanopy, pRest}, q: params{pHeight: 200, pDrag: -5, pFill: 1, pCanopy: 0.8}}
	cols := make([][]float64, len(f.free)+1)
	for i := range cols {
		cols[i] = make([]float64, len(pr.t))
	}
	pr.linearise(&f, cols, make([][]float64, len(cols)), math.NaN())
	if f.touch < 80 || f.touch > 115 {
		t.Fatalf("meets the ground after %.1f s", f.touch)
	}
	last := 0.0
	for i, at := range pr.t {
		air := at < f.touch
		if got := cols[1][i]; air != (got != 0) && at > 1 || air && at > 5 && got < last {
			t.Fatalf("%.2f s: a reading changes by %.2f m with the parachute, %.2f m before; touchdown at %.2f s", at, got, last, f.touch)
		}
		if ground := cols[2][i]; ground == 1 == air {
			t.Fatalf("%.2f s: a reading changes by %.2f m with the ground", at, ground)
		}
		last = cols[1][i]
	}
	// In 100 s of a steady sink v the height changes by v t/2 per unit of the drag's
	// logarithm (by hand, from v = sqrt(g/drag)).
	v := math.Sqrt(gravity / (math.Exp(0.8) + math.Exp(-5)))
	if i := sortedIndex(pr.t, 60); math.Abs(cols[1][i]/(v*60/2)-1) > 0.06 {
		t.Errorf("after 60 s the height changes by %.1f m, want about %.1f", cols[1][i], v*60/2)
	}
}

func sortedIndex(t []float64, at float64) int {
	i := 0
	for t[i] < at {
		i++
	}
	return i
}

// TestDragIsAlongThePath: a body without weight and lift slows along its path: the
// distance is ln(1 + k v t)/k (closed form of dv/dt = -k v2), and the direction
// stays. Weight is taken out by the difference of two rates.
func TestDragIsAlongThePath(t *testing.T) {
	f := flow{body: 0.05, release: math.Inf(1)}
	dv, du, _ := f.rate(0, moving{h: 0, v: 6, u: 8})
	if math.Abs(dv+gravity+0.05*10*6) > 1e-12 || math.Abs(du+0.05*10*8) > 1e-12 {
		t.Errorf("at 6 m/s up and 8 m/s across it slows by %.4f and %.4f m/s2, want 3 (and gravity) and 4", -dv, -du)
	}
}
