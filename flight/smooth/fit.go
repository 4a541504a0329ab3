package smooth

import (
	"errors"
	"math"
)

// prior is what is known of a parameter beforehand; sd 0 fixes it.
type prior struct{ mean, sd float64 }

// fit is a path fitted to the readings: the most likely parameters and their
// covariance.
type fit struct {
	path  path
	q     params
	cov   [nParams][nParams]float64
	free  []int
	noise noise
	extra []float64 // variance added to each reading for not fitting, m2
	touch float64   // s
	chi2  float64   // of the whitened residuals, per reading
	logs  float64   // sum of the logarithms of the readings' variances
	logA  float64   // logarithm of the determinant of the information, priors included
	prior float64   // squares of how far the parameters are from their priors, in sd
	used  int       // readings
	t, h  []float64 // the readings that counted
	start float64   // s, of the coast
}

// problem is a fit to be made.
type problem struct {
	r          *readings
	t, h       []float64 // the readings that count
	soft       []float64 // m2, variance that each has besides the noise
	start      float64   // s, of the coast
	noise      noise
	path       path
	prior      [nParams]prior
	begin      params
	iterations int
	pulls      []pull  // of the accelerometer
	forceSD    float64 // m/s2, noise of one of them
	warm       int     // iterations that a good beginning saves
	// ground is when the first steps take the ground for met, s; NaN for when the
	// path meets it. A path that is far off yet may meet it early, and from there on
	// no reading would say so.
	ground float64
}

// heldSteps is for how many steps that moment is held.
const heldSteps = 7

var errNoFit = errors.New("fit the flight: the readings do not determine it")

// Outliers: readings further than gateSD standard deviations lose weight, and
// further than dropSD all of it.
const (
	gateSD = 3.0
	dropSD = 7.0
)

// solve finds the parameters by Gauss-Newton steps on the whitened residuals,
// with the weights of outliers found anew in each step.
func (pr *problem) solve() (fit, error) {
	f := fit{path: pr.path, q: pr.begin, noise: pr.noise, extra: append([]float64(nil), pr.soft...), touch: math.Inf(1),
		t: pr.t, h: pr.h, start: pr.start}
	for i := range nParams {
		if pr.prior[i].sd > 0 {
			f.free = append(f.free, i)
		}
	}
	n := len(pr.t)
	cols := make([][]float64, len(f.free)+1)
	for i := range cols {
		cols[i] = make([]float64, n)
	}
	base := make([]float64, n)
	force := make([][]float64, len(cols)) // the same of the accelerometer
	for i := range force {
		force[i] = make([]float64, len(pr.pulls))
	}
	for iter := range pr.iterations {
		ground := pr.ground
		if iter+pr.warm >= heldSteps {
			ground = math.NaN()
		}
		pr.linearise(&f, cols, force, ground)
		f.noise.whiten(pr.t, f.extra, cols, base)
		step, ok := pr.normal(&f, cols, force)
		if !ok {
			return f, errNoFit
		}
		f.weigh(cols[len(f.free)], base, pr.soft, iter+pr.warm)
		f.prior = pr.away(&f.q, f.free) + dot(force[len(f.free)], force[len(f.free)])
		last := pr.move(&f, step)
		if last < 0.02 && iter+pr.warm > max(5, heldSteps) {
			break
		}
	}
	for _, i := range f.free {
		if !(f.cov[i][i] > 0) || math.IsNaN(f.q[i]) {
			return f, errNoFit
		}
	}
	return f, nil
}

// linearise writes the derivatives of the expected readings with respect to
// the free parameters, by differences, and the residuals in the last column; those of
// the accelerometer are divided by their standard deviations. The
// moment of the touchdown is held meanwhile. A small change of the sink rate moves
// it, and one reading falls on the other side of it: its jump would be taken for
// a slope, and make the sink rate seem ten times better known than it is.
func (pr *problem) linearise(f *fit, cols, force [][]float64, ground float64) {
	res, want := cols[len(f.free)], force[len(f.free)]
	air := make([]float64, len(pr.t))
	f.touch = pr.path.heights(&f.q, pr.t, pr.start, ground, res, air)
	pr.drags(&f.q, res, air, want)
	var moved []float64
	if len(pr.pulls) > 0 {
		moved = make([]float64, len(pr.t))
	}
	for k, i := range f.free {
		d := diffStep[i]
		q := f.q
		q[i] += d
		clear(force[k])
		switch i { // those that do not move the path
		case pRest:
			for j, t := range pr.t {
				cols[k][j] = 0
				if t >= f.touch {
					cols[k][j] = 1 + f.q[pScale]
				}
			}
			continue
		case pPort:
			for j, a := range air {
				cols[k][j] = (1 + f.q[pScale]) * a
			}
			continue
		case pScale:
			for j, h := range res {
				cols[k][j] = h / (1 + f.q[pScale])
			}
			continue
		}
		pr.path.heights(&q, pr.t, pr.start, f.touch, cols[k], moved)
		pr.drags(&q, cols[k], moved, force[k])
		for j := range want {
			force[k][j] = (force[k][j] - want[j]) / d
		}
		for j := range cols[k] {
			cols[k][j] = (cols[k][j] - res[j]) / d
		}
	}
	for j := range res {
		res[j] = pr.h[j] - res[j]
	}
	for j, p := range pr.pulls {
		norm := 1 / math.Sqrt(pr.pullVar(want[j], air[p.i]))
		want[j] = (p.v - want[j]) * norm
		for k := range f.free {
			force[k][j] *= norm
		}
	}
}

// diffStep is how far each parameter is moved for a derivative.
var diffStep = params{1e-3, 1e-3, 1e-3, 0.05, 1e-6, 1e-3, 1e-2, 1e-3, 1e-3, 1e-4, 1e-2, 1e-3}

// normal solves the normal equations with the priors, and keeps the inverse
// as the covariance.
func (pr *problem) normal(f *fit, cols, force [][]float64) ([]float64, bool) {
	m := len(f.free)
	a := make([][]float64, m)
	b := make([]float64, m)
	res := cols[m]
	for i := range a {
		a[i] = make([]float64, m)
		for j := 0; j <= i; j++ {
			a[i][j] = dot(cols[i], cols[j]) + dot(force[i], force[j])
		}
		b[i] = dot(cols[i], res) + dot(force[i], force[m])
		k := f.free[i]
		w := 1 / (pr.prior[k].sd * pr.prior[k].sd)
		a[i][i] += w
		b[i] += w * (pr.prior[k].mean - f.q[k])
	}
	inv, logA, ok := invert(a)
	if !ok {
		return nil, false
	}
	f.logA = logA
	step := make([]float64, m)
	f.cov = [nParams][nParams]float64{}
	for i := range m {
		for j := range m {
			step[i] += inv[i][j] * b[j]
			f.cov[f.free[i]][f.free[j]] = inv[i][j]
		}
	}
	return step, true
}

// away is how far the parameters are from their priors: the sum of the squares in
// standard deviations.
func (pr *problem) away(q *params, free []int) float64 {
	sum := 0.0
	for _, i := range free {
		sum += sq((q[i] - pr.prior[i].mean) / pr.prior[i].sd)
	}
	return sum
}

// evidence is the logarithm of how likely the readings are under this path and its
// priors, whatever its parameters (Laplace's approximation), but for a constant that
// is the same for all paths fitted to the same readings.
func (f *fit) evidence(pr *problem) float64 {
	widths := 0.0
	for _, i := range f.free {
		widths += 2 * math.Log(pr.prior[i].sd)
	}
	return -(f.cost() + f.logs + f.prior + f.logA + widths) / 2
}

// weigh finds the outliers from the whitened residuals.
func (f *fit) weigh(white, base, soft []float64, iter int) {
	f.chi2, f.used, f.logs = 0, 0, 0
	for i, u := range white {
		good := base[i] + soft[i]
		f.logs += math.Log(good)
		e2 := u * u * (base[i] + f.extra[i]) / good // against a good reading
		gate := gateSD * loosen(iter)
		switch {
		case e2 <= gate*gate:
			f.extra[i] = soft[i]
			f.chi2 += e2
			f.used++
		case e2 <= dropSD*dropSD*gate*gate/gateSD/gateSD:
			f.extra[i] = soft[i] + good*(e2/(gate*gate)-1)*3
			f.chi2 += gate * gate
			f.used++
		default:
			f.extra[i] = 1e8
		}
	}
	if f.used > 0 {
		f.chi2 /= float64(f.used)
	}
}

// loosen widens the gate in the first steps, when nothing fits yet.
func loosen(iter int) float64 {
	if steps := [...]float64{300, 60, 15, 5, 2}; iter < len(steps) {
		return steps[iter]
	}
	return 1
}

// move takes the step, shortened where it is implausibly long, and returns its
// size in standard deviations.
func (pr *problem) move(f *fit, step []float64) float64 {
	scale, size := 1.0, 0.0
	for k, i := range f.free {
		if most := longestMove[i]; math.Abs(step[k]) > most {
			scale = min(scale, most/math.Abs(step[k]))
		}
		size = max(size, math.Abs(step[k])/math.Sqrt(f.cov[i][i]))
	}
	for k, i := range f.free {
		f.q[i] += scale * step[k]
	}
	f.q[pDrag] = max(-11, min(1, f.q[pDrag]))
	f.q[pCanopy] = max(-7, min(5, f.q[pCanopy]))
	f.q[pFill] = max(-3, min(4, f.q[pFill]))
	f.q[pLower] = max(-7, min(5, f.q[pLower]))
	f.q[pOpen] = max(0, f.q[pOpen]) // not before the anchor
	f.q[pPort] = max(-mostPort, min(mostPort, f.q[pPort]))
	far := mostScale * pr.prior[pScale].sd
	f.q[pScale] = max(-far, min(far, f.q[pScale]))
	f.q[pAcross] = math.Abs(f.q[pAcross])
	return size
}

// mostScale is how far the scale may be from one, in its standard deviations: what a
// path leaves unexplained must not be laid on the weather.
const mostScale = 2.0

// mostPort is the most that a vent errs by, m per (m/s)2: a third of the dynamic
// pressure.
const mostPort = 0.017

// longestMove bounds one step of each parameter.
var longestMove = params{20, 10, 0.7, 5, 0.002, 0.2, 0.5, 0.5, 10, 0.02, 0.5, 0.5}

// sd is the standard deviation of a function of the parameters, by
// differences.
func (f *fit) sd(fn func(q *params) float64) float64 {
	v0 := fn(&f.q)
	grad := make([]float64, len(f.free))
	for k, i := range f.free {
		d := min(0.3*math.Sqrt(f.cov[i][i]), 20*diffStep[i])
		q := f.q
		q[i] += d
		grad[k] = (fn(&q) - v0) / d
	}
	sum := 0.0
	for k, i := range f.free {
		for l, j := range f.free {
			sum += grad[k] * grad[l] * f.cov[i][j]
		}
	}
	return math.Sqrt(max(sum, 0))
}

// spread is the standard deviation of a function of the parameters that bends
// within their standard deviations: from its values one standard deviation to
// either side along the axes of a square root of the covariance. A value that
// does not exist is left out.
func (f *fit) spread(fn func(q *params) float64) float64 {
	v0, sum := fn(&f.q), 0.0
	root := f.root()
	for k := range f.free {
		both, n := 0.0, 0.0
		for _, side := range [2]float64{-1, 1} {
			q := f.q
			for j, i := range f.free {
				q[i] += side * root[j][k]
			}
			if d := fn(&q) - v0; !math.IsNaN(d) && !math.IsInf(d, 0) {
				both += d * d
				n++
			}
		}
		sum += both / max(n, 1)
	}
	return math.Sqrt(sum)
}

// root is a lower triangle whose product with its own transpose is the covariance
// of the free parameters (Cholesky).
func (f *fit) root() [nParams][nParams]float64 {
	var l [nParams][nParams]float64
	for j, fj := range f.free {
		for k := 0; k <= j; k++ {
			s := f.cov[fj][f.free[k]]
			for m := range k {
				s -= l[j][m] * l[k][m]
			}
			if j == k {
				l[j][j] = math.Sqrt(max(s, 0))
			} else if l[k][k] > 0 {
				l[j][k] = s / l[k][k]
			}
		}
	}
	return l
}

func dot(a, b []float64) float64 {
	s := 0.0
	for i := range a {
		s += a[i] * b[i]
	}
	return s
}

// invert a symmetric positive definite matrix, given by its lower triangle,
// by Cholesky's method after scaling its diagonal to one. It returns the logarithm
// of the determinant too. ok is false if it is not positive definite.
func invert(a [][]float64) (inv [][]float64, logDet float64, ok bool) {
	n := len(a)
	scale := make([]float64, n)
	l := make([][]float64, n)
	for i := range n {
		if !(a[i][i] > 0) {
			return nil, 0, false
		}
		scale[i] = 1 / math.Sqrt(a[i][i])
		l[i] = make([]float64, n)
	}
	for i := range n {
		for j := 0; j <= i; j++ {
			s := a[i][j] * scale[i] * scale[j]
			for k := range j {
				s -= l[i][k] * l[j][k]
			}
			if i == j {
				if s < 1e-12 {
					return nil, 0, false
				}
				l[i][i] = math.Sqrt(s)
			} else {
				l[i][j] = s / l[j][j]
			}
		}
	}
	for i := range n {
		logDet += 2 * math.Log(l[i][i]/scale[i])
	}
	inv = make([][]float64, n)
	for i := range inv {
		inv[i] = make([]float64, n)
	}
	x := make([]float64, n)
	for c := range n {
		for i := range n {
			x[i] = 0
		}
		x[c] = 1
		for i := range n {
			for k := range i {
				x[i] -= l[i][k] * x[k]
			}
			x[i] /= l[i][i]
		}
		for i := n - 1; i >= 0; i-- {
			for k := i + 1; k < n; k++ {
				x[i] -= l[k][i] * x[k]
			}
			x[i] /= l[i][i]
		}
		for i := range n {
			inv[i][c] = x[i] * scale[i] * scale[c]
		}
	}
	return inv, logDet, true
}
