package track

import (
	"math"
	"math/rand/v2"
	"testing"

	"padlark/flight/atmos"
)

// TestSteadyGains runs the filter's own covariance steps to their steady state
// in the model of the alpha-beta filter: position and speed, acceleration
// constant over each step T and white from step to step, Lambda = T^2 sw/sv.
// The gains are those of Kalata, IEEE Trans. AES-20(2), 1984 (from memory;
// computed from the published relations).
func TestSteadyGains(t *testing.T) {
	for _, c := range []struct{ lambda, alpha, beta float64 }{
		{0.01, 0.131851, 0.009317},
		{0.1, 0.36, 0.08},
		{0.5, 0.628373, 0.304806},
		{1, 0.75, 0.5},
		{2, 0.854102, 0.763932},
		{10, 0.978714, 1.458980},
	} {
		const T, sv = 0.05, 1e-5 // so small a noise that no reading looks like an outlier
		sw := c.lambda * sv / (T * T)
		f := filter{noise: sv * sv}
		p := &f.p[coast]
		*p = mat{}
		p[xHeight][xHeight], p[xSpeed][xSpeed] = 1e-6, 1e-4
		var before mat
		for range 4000 {
			p.advance(T, 1, 0, 0, 0, 0)
			g := [2]float64{T * T / 2, T}
			for i := range g {
				for j := range g {
					p[i][j] += sw * sw * g[i] * g[j]
				}
			}
			before = *p
			f.correct(coast, f.x[coast][xHeight])
		}
		s := before[xHeight][xHeight] + f.noise
		alpha, beta := before[xHeight][xHeight]/s, before[xSpeed][xHeight]/s*T
		if math.Abs(alpha-c.alpha) > 2e-4 || math.Abs(beta-c.beta) > 2e-4*math.Max(1, c.beta) {
			t.Errorf("Lambda %g: alpha %.6f beta %.6f, want %.6f %.6f", c.lambda, alpha, beta, c.alpha, c.beta)
		}
		// The filtered variance is alpha sv^2.
		if r := (*p)[xHeight][xHeight] / f.noise; math.Abs(r-c.alpha) > 2e-4 {
			t.Errorf("Lambda %g: filtered variance %.6f of the noise, want %.6f", c.lambda, r, c.alpha)
		}
	}
}

// TestArcMeetsTheBound compares the spread of the apogee time from the window
// fit with known curvature with the Cramér-Rao bound of such a vertex:
// sd = s/(g dt) sqrt(12/(N(N^2-1))) (computed from the published equations; an
// unbiased estimator can never be below it).
func TestArcMeetsTheBound(t *testing.T) {
	for _, c := range []struct {
		n             int
		dt, sd, bound float64
	}{
		{11, 0.10, 0.50, 0.0486131},
		{21, 0.05, 0.50, 0.0367480},
		{51, 0.02, 0.30, 0.0145509},
		{41, 0.05, 0.25, 0.00672966},
	} {
		rng := rand.New(rand.NewPCG(1, uint64(c.n)))
		const runs = 3000
		var sum float64
		for range runs {
			var h history
			end := float64(c.n-1) * c.dt
			top := end / 2
			for i := range c.n {
				x := float64(i) * c.dt
				h.push(reading{t: x, h: 50 - gravity/2*(x-top)*(x-top) + c.sd*rng.NormFloat64()})
			}
			a := h.fit(0, c.n, -gravity, c.sd)
			if math.Abs(a.sdV/gravity-c.bound) > 0.03*c.bound && a.n == c.n {
				t.Fatalf("N %d: own sd %.6f, want %.6f", c.n, a.sdV/gravity, c.bound)
			}
			err := a.end + a.v/gravity - top
			sum += err * err
		}
		got := math.Sqrt(sum / runs)
		if got < 0.96*c.bound || got > 1.08*c.bound {
			t.Errorf("N %d, dt %g, sd %g: spread %.6f s, bound %.6f", c.n, c.dt, c.sd, got, c.bound)
		}
	}
}

// TestAscent checks the closed form of vertical coast with quadratic drag at
// 0.150 kg, Cd 0.5, 90 mm, 1.225 kg/m3: terminal speed 27.4777058 m/s
// (computed from the published equations; definition of the terminal speed as
// in NASA Glenn, "Flight Equations with Drag").
func TestAscent(t *testing.T) {
	logDrag := math.Log(gravity / (27.4777058 * 27.4777058))
	for _, c := range []struct{ v, h, t float64 }{
		{20, 16.365477, 1.762934},
		{30, 30.212099, 2.323522},
		{40, 43.790832, 2.714771},
		{50, 56.249859, 2.993307},
	} {
		h, s := ascent(c.v, logDrag, 0)
		if math.Abs(h-c.h) > 1e-5 || math.Abs(s-c.t) > 1e-5 {
			t.Errorf("%g m/s: %.6f m in %.6f s, want %.6f in %.6f", c.v, h, s, c.h, c.t)
		}
		// The coasting mode gets there by its steps, too.
		f := filter{tune: tuneFor(tuneRocket)}
		f.x[coast] = vec{xSpeed: c.v, xDrag: logDrag}
		for range 1000 {
			f.predict(coast, c.t/1000, math.NaN())
		}
		if x := f.x[coast]; math.Abs(x[xHeight]-c.h) > 2e-3 || math.Abs(x[xSpeed]) > 2e-3 {
			t.Errorf("%g m/s: the filter's steps end at %.5f m and %.5f m/s", c.v, x[xHeight], x[xSpeed])
		}
	}
	// Falling 50 m from rest takes 3.547512 s to 23.431173 m/s (same source):
	// seen from there the apogee was that long ago and that much higher.
	h, s := ascent(-23.431173, logDrag, 0)
	if math.Abs(h-50) > 1e-4 || math.Abs(s+3.547512) > 1e-5 {
		t.Errorf("falling: %.6f m, %.6f s", h, s)
	}
}

// TestPrediction compares the predicted apogee's standard deviation with the
// spread that the state's covariance makes of it.
func TestPrediction(t *testing.T) {
	f := filter{}
	f.x[coast] = vec{30, 25, math.Log(0.01), 0, 0}
	f.p[coast] = mat{{0.04, 0.02, 0, 0}, {0.02, 0.25, -0.02, 0}, {0, -0.02, 0.04, 0}, {0, 0, 0, 0.01}}
	p := f.predict2apogee()
	rng := rand.New(rand.NewPCG(7, 7))
	var st, stt, sh, shh float64
	const n = 20000
	for range n {
		// Cholesky of the upper left three by three, by hand.
		a, b, c := rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()
		h := 30 + 0.2*a
		v := 25 + 0.1*a + math.Sqrt(0.24)*b
		l := math.Log(0.01) - 0.02/math.Sqrt(0.24)*b + math.Sqrt(0.04-0.0004/0.24)*c
		up, in := ascent(v, l, 0)
		st, stt, sh, shh = st+in, stt+in*in, sh+h+up, shh+(h+up)*(h+up)
	}
	sdT := math.Sqrt(stt/n - st*st/n/n)
	sdH := math.Sqrt(shh/n - sh*sh/n/n)
	if math.Abs(p.sdS-sdT) > 0.05*sdT || math.Abs(p.sdM-sdH) > 0.05*sdH {
		t.Errorf("sd %.4f s %.4f m, by sampling %.4f s %.4f m", p.sdS, p.sdM, sdT, sdH)
	}
}

// TestColumn: 105206/100 and 94794/100 rules: a pressure difference that is
// 100.00 m in the standard atmosphere is 105.206 m at 303.15 K at the ground
// and 94.794 m at 273.15 K (computed from the published equations).
func TestColumn(t *testing.T) {
	for _, c := range []struct{ celsius, want float64 }{{15, 100}, {30, 105.206}, {0, 94.794}} {
		col := newColumn(siteAt(c.celsius))
		pad := col.z(101325)
		if h := col.height(col.z(100129.439) - pad); math.Abs(h-c.want) > 2e-3 {
			t.Errorf("%g degC: %.4f m, want %.3f", c.celsius, h, c.want)
		}
	}
}

// TestColumnMoist: the column of flight/atmos, over a moist pad at 30 degrees
// Celsius and 500 m, and 1.5 % higher than with dry air.
func TestColumnMoist(t *testing.T) {
	wet, high := 0.95, 500.0
	site := siteAt(30)
	dry := newColumn(site)
	site.Humidity, site.ElevationM = &wet, &high
	moist := newColumn(site)
	const pad, top = 95461.0, 94000.0 // Pa; the standard at 500 m (ISO 2533), and somewhat above
	want, err := atmos.NewColumn(atmos.Pad{Pressure: pad, Temperature: 303.15, Humidity: wet})
	if err != nil {
		t.Fatal(err)
	}
	got := moist.height(moist.z(top) - moist.z(pad))
	if h := want.Height(top); math.Abs(got-h) > 1e-3*h {
		t.Errorf("%.3f m, want %.3f", got, h)
	}
	if more := got/dry.height(dry.z(top)-dry.z(pad)) - 1; more < 0.014 || more > 0.018 {
		t.Errorf("moist air makes it %.2f %% higher, want about 1.6", 100*more)
	}
}

// TestPadFollows: a level that drifts evenly is followed without lag, and what
// is added by a car door is not.
func TestPadFollows(t *testing.T) {
	p := newPad()
	rng := rand.New(rand.NewPCG(3, 4))
	for i := range 50 * 300 {
		s := float64(i) / 50
		z := 0.01*s + 0.25*rng.NormFloat64()
		if s > 200 && s < 200.4 {
			z -= 20
		}
		p.add(s, z)
	}
	l, ok := p.before(299)
	if !ok || math.Abs(l.level-2.99) > 0.08 {
		t.Errorf("level %.3f, want 2.99 (known %v)", l.level, ok)
	}
	if w := math.Sqrt(p.white); math.Abs(w-0.25) > 0.02 {
		t.Errorf("noise %.3f, want 0.25", w)
	}
	if g := math.Sqrt(p.gusts(usualGust, 0)); g > 0.15 {
		t.Errorf("gusts %.3f without any", g)
	}
}
