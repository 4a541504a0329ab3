package smooth

import (
	"math"
	"sort"
)

// noise is what the readings are off by: white noise of each reading, gusts
// (a first-order Gauss-Markov process) and a level that wanders.
type noise struct {
	white   float64 // m2
	gust    float64 // m2
	gustTau float64 // s
	wander  float64 // m2/s
	level   float64 // m2, variance of the level at the first reading; 0 for not known at all
	// In free flight a rocket moves with what turns it, and gusts show less: this
	// part of them. It is more where the vent or the path errs.
	calm             float64
	calmFrom, calmTo float64 // s
	// Under a parachute it swings, and the vent with it.
	swing              float64 // m2
	swingFrom, swingTo float64 // s
	// And it does not sink evenly: by so much more its height wanders, m2/s.
	uneven float64
}

// A swing of half a second to two has no phase that lasts: it is taken for a
// Gauss-Markov process with this correlation time, which is at least as strong at
// all of its frequencies. It grows after the opening.
const (
	swingTau   = 0.2 // s
	swingGrows = 1.5 // s
)

// swingsFrom says from when on it may swing.
func (n *noise) swingsFrom(apogee, release, touchdown float64) {
	n.swingFrom, n.swingTo = max(apogee, release), orElse(touchdown, math.Inf(1))
}

// swings is the variance of the swing at t, m2.
func (n *noise) swings(t float64) float64 {
	if n.swing == 0 || !(t > n.swingFrom) || t > n.swingTo {
		return 0
	}
	return n.swing * sq(min(1, (t-n.swingFrom)/swingGrows))
}

// Assumptions about the slow part.
const (
	gustTau      = 1.5  // s (common practice, no source)
	leastWander  = 3e-4 // m2/s: 0.05 m in 10 s
	usualWander  = 1e-3 // m2/s: 0.1 m in 10 s
	usualGust    = 0.01 // m2
	fewestBlocks = 6
	calmGust     = 0.3 // part of a gust that shows in free flight
)

// learnNoise measures the noise from the readings at rest before liftoff, from
// those after touchdown, and where there are few from second differences of
// the whole flight.
func learnNoise(r *readings, liftoff, touchdown float64) noise {
	n := noise{gustTau: gustTau, wander: leastWander, calm: calmGust}
	var d []float64
	rest := func(i int) bool { return r.t[i] < liftoff-0.3 || r.t[i] > touchdown+1 }
	for i := 2; i < len(r.t); i++ {
		if rest(i) && rest(i-2) && r.t[i]-r.t[i-2] < 1 {
			d = append(d, r.bend(i))
		}
	}
	if len(d) < 30 {
		for i := 2; i < len(r.t); i++ {
			if r.t[i] > liftoff+0.5 {
				d = append(d, r.bend(i))
			}
		}
	}
	n.white = robustVar(d)
	n.white = max(n.white, r.step*r.step/12, 1e-4)
	n.learnSlow(r, liftoff, touchdown)
	return n
}

// bend is how far the reading before i is from the straight line through its
// neighbours, in standard deviations of readings of unit variance.
func (r *readings) bend(i int) float64 {
	w := 0.5
	if span := r.t[i] - r.t[i-2]; span > 0 {
		w = (r.t[i-1] - r.t[i-2]) / span
	}
	return math.Abs(r.h[i-1]-(1-w)*r.h[i-2]-w*r.h[i]) / math.Sqrt(1+w*w+(1-w)*(1-w))
}

// robustVar is a variance from absolute deviations: clipped at three standard
// deviations about a start from their median.
func robustVar(d []float64) float64 {
	if len(d) == 0 {
		return 0.25
	}
	sort.Float64s(d)
	v := math.Pow(d[len(d)/2]*1.4826, 2)
	if v == 0 {
		for _, x := range d {
			v += x * x / float64(len(d))
		}
	}
	for range 4 {
		sum := 0.0
		for _, x := range d {
			sum += min(x*x, 9*v)
		}
		v = sum / float64(len(d)) / 0.9953 // what clipping at three sd takes from a Gaussian
	}
	return v
}

// learnSlow sets gusts and wander from the means of one-second blocks: their
// differences over one to eight seconds grow with the wander and level off
// with the gusts.
func (n *noise) learnSlow(r *readings, liftoff, touchdown float64) {
	var sum, ref [2]float64
	lags := [2]int{1, 5}
	var count [2]float64
	for _, span := range [2][2]float64{{r.t[0], liftoff - 0.3}, {touchdown + 1, r.t[len(r.t)-1]}} {
		mean, size := blocks(r, span[0], span[1])
		for k, lag := range lags {
			for i := lag; i < len(mean); i++ {
				d := mean[i] - mean[i-lag]
				sum[k] += d * d
				ref[k] += n.white/size[i] + n.white/size[i-lag]
				count[k]++
			}
		}
	}
	if count[0] < fewestBlocks || count[1] < 1 {
		n.gust, n.wander = usualGust, 2*usualWander
		return
	}
	// For gusts of variance s and correlation time tau the mean of a block of
	// length T varies by s A, and means lag blocks apart by s 2 (A - C_lag).
	v1 := (sum[0] - ref[0]) / count[0]
	v5 := (sum[1] - ref[1]) / count[1]
	a1, a5 := blockGrowth(1), blockGrowth(5)
	// v = gust a + wander lag
	det := a1*5 - a5*1
	gust := (v1*5 - v5*1) / det
	wander := (a1*v5 - a5*v1) / det
	if wander < leastWander {
		wander = leastWander
		gust = (v1*a1 + v5*a5/2) / (a1*a1 + a5*a5/2)
	}
	if gust < 0 {
		gust = 0
		wander = max(leastWander, v5/5)
	}
	// Few blocks know little: shrink to what is common.
	w := count[0] / (count[0] + 5)
	n.gust = max(w*gust+(1-w)*usualGust, 0.0002)
	n.wander = max(w*wander+(1-w)*usualWander, leastWander)
}

// blockGrowth is the variance of the difference of two block means lag seconds
// apart, for unit gusts.
func blockGrowth(lag float64) float64 {
	const T = 1.0
	x := T / gustTau
	own := 2 / (x * x) * (x - 1 + math.Exp(-x))
	cross := math.Exp(-lag/gustTau) / (x * x) * math.Pow(math.Exp(x/2)-math.Exp(-x/2), 2)
	return 2 * (own - cross)
}

// blocks are robust means of whole seconds.
func blocks(r *readings, from, to float64) (mean, size []float64) {
	i := r.at(from)
	for start := from; start+1 <= to; start++ {
		j := r.at(start + 1)
		if j-i >= 3 {
			m := median(r.h[i:j])
			s, k := 0.0, 0.0
			for _, h := range r.h[i:j] {
				if math.Abs(h-m) < 5 {
					s += h
					k++
				}
			}
			if k > 0 {
				mean, size = append(mean, s/k), append(size, k)
			}
		}
		i = j
	}
	return mean, size
}

// whiten filters the columns, which are series at times t, with the Kalman
// filter of the noise, and divides by the standard deviation that it expects:
// what comes out of the true noise is white with unit variance. Extra holds
// variances in m2 to add to the white noise of each reading (large for an
// outlier). The level of the wander starts unknown. The variance that the
// filter expects of each reading without its extra goes to base.
func (n *noise) whiten(t, extra []float64, cols [][]float64, base []float64) {
	unknown := 1e4
	if n.level > 0 {
		unknown = n.level
	}
	state := make([][3]float64, len(cols)) // gust, level, swing
	p := [3][3]float64{{n.gust}, {0, unknown}}
	swung := 0.0
	for i := range t {
		if i > 0 {
			dt := t[i] - t[i-1]
			a, b := math.Exp(-dt/n.gustTau), math.Exp(-dt/swingTau)
			now := n.swings(t[i])
			p[0][0] = a*a*p[0][0] + n.gust*(1-a*a)
			p[1][0] *= a
			p[1][1] += n.wander * dt
			if t[i] > n.swingFrom && t[i] <= n.swingTo {
				p[1][1] += n.uneven * dt
			}
			p[2][0] *= a * b
			p[2][1] *= b
			p[2][2] = b*b*p[2][2] + max(0, now-b*b*swung)
			swung = now
			for c := range state {
				state[c][0] *= a
				state[c][2] *= b
			}
		}
		g := 1.0
		if t[i] >= n.calmFrom && t[i] < n.calmTo {
			g = n.calm
		}
		// What the reading has in common with each part.
		c0 := g*p[0][0] + p[1][0] + p[2][0]
		c1 := g*p[1][0] + p[1][1] + p[2][1]
		c2 := g*p[2][0] + p[2][1] + p[2][2]
		s0 := g*c0 + c1 + c2 + n.white
		s := s0 + extra[i]
		base[i] = s0
		k0, k1, k2 := c0/s, c1/s, c2/s
		norm := 1 / math.Sqrt(s)
		for c, col := range cols {
			st := &state[c]
			e := col[i] - g*st[0] - st[1] - st[2]
			st[0] += k0 * e
			st[1] += k1 * e
			st[2] += k2 * e
			col[i] = e * norm
		}
		p[0][0] -= k0 * c0
		p[1][0] -= k1 * c0
		p[1][1] -= k1 * c1
		p[2][0] -= k2 * c0
		p[2][1] -= k2 * c1
		p[2][2] -= k2 * c2
	}
}

// refineNoise corrects gusts and wander by how likely they make what the fit
// leaves over, starting from what was measured at rest. It judges all readings
// that the fit used, those of the descent too. It takes the mean over what is
// likely and not the likeliest: a descent of some seconds does not tell well how
// strong the gusts are, and if they are stronger than the likeliest, the errors
// grow by more than they shrink if they are weaker.
func (f *fit) refineNoise(r *readings, n *noise) {
	res := make([]float64, len(f.t))
	f.path.heights(&f.q, f.t, f.start, math.NaN(), res, nil)
	for i := range res {
		res[i] = f.h[i] - res[i]
	}
	work := make([]float64, len(res))
	base := make([]float64, len(res))
	n.refineSwing(f, res, work, base)
	n.refineCalm(f, res, work, base)
	var logs [len(gustSteps) * len(wanderSteps)]float64
	var tries [len(logs)]noise
	best := math.Inf(-1)
	for i := range logs {
		g, w := gustSteps[i%len(gustSteps)], wanderSteps[i/len(gustSteps)]
		tries[i] = *n
		tries[i].gust, tries[i].wander = max(n.gust*g, 1e-4), max(n.wander*w, leastWander)
		l := tries[i].likelihood(f, res, work, base) - 0.5*(sq(math.Log(g)/0.9)+sq(math.Log(w)/1.2))
		logs[i] = l
		best = max(best, l)
	}
	total, gust, wander := 0.0, 0.0, 0.0
	for i, l := range logs {
		p := math.Exp(l - best)
		total += p
		gust += p * tries[i].gust
		wander += p * tries[i].wander
	}
	n.gust, n.wander = gust/total, wander/total
	// The variance that so few gusts have told is itself uncertain: what is next
	// drawn from them spreads as Student's t does, by nu/(nu-2) in variance.
	if k := len(f.t); k > 0 {
		told := max(fewestGusts, (f.t[k-1]-f.t[0])/(2*gustTau))
		n.gust *= told / (told - 2)
	}
}

// likelihood is the logarithm of how likely the residuals of a fit are under this
// noise. Work and base are room for it.
func (n *noise) likelihood(f *fit, res, work, base []float64) float64 {
	copy(work, res)
	n.whiten(f.t, f.extra, [][]float64{work}, base)
	l := 0.0
	for k, u := range work {
		l -= 0.5 * (math.Log(base[k]+f.extra[k]) + u*u)
	}
	return l
}

// refineSwing finds how strongly it swung and how unevenly it sank.
func (n *noise) refineSwing(f *fit, res, work, base []float64) {
	if !(n.swingFrom < math.Inf(1)) || n.swingFrom == 0 {
		return
	}
	const many = len(swingSteps) * len(unevenSteps)
	var logs [many]float64
	total, swing, uneven, best := 0.0, 0.0, 0.0, math.Inf(-1)
	for i := range many {
		try := *n
		k := i / len(swingSteps)
		try.swing, try.uneven = swingSteps[i%len(swingSteps)], unevenSteps[k]
		logs[i] = try.likelihood(f, res, work, base) - unevenCost*float64(k)
		best = max(best, logs[i])
	}
	for i, l := range logs {
		p := math.Exp(l - best)
		total += p
		swing += p * swingSteps[i%len(swingSteps)]
		uneven += p * unevenSteps[i/len(swingSteps)]
	}
	n.swing, n.uneven = swing/total, uneven/total
}

// refineCalm finds what the readings of the climb are off by beyond their noise.
func (n *noise) refineCalm(f *fit, res, work, base []float64) {
	best, calm := math.Inf(-1), n.calm
	for i, c := range calmSteps {
		try := *n
		try.calm = c
		// Each step must be asked for: most flights are calm.
		if l := try.likelihood(f, res, work, base) - calmCost*float64(i); l > best {
			best, calm = l, c
		}
	}
	n.calm = calm
}

// calmSteps are the parts of the gusts that are tried, and calmCost is what each
// must better the logarithm of the likelihood by.
var calmSteps = [...]float64{calmGust, 1, 3, 10, 30}

const calmCost = 2.0

// guessSwing starts the swing at how far the readings of the descent scatter about
// straight lines of two seconds, where that is more than the noise at rest.
func (n *noise) guessSwing(r *readings, apogee, touchdown float64) {
	var left []float64
	to := orElse(touchdown, r.t[len(r.t)-1])
	for t := apogee + 3; t+2 <= to; t += 2 {
		i, j := r.at(t), r.at(t+2)
		if j-i < 8 {
			continue
		}
		_, l := line(r.t[i:j], r.h[i:j])
		left = append(left, l/float64(j-i-2))
	}
	if v := median(left); v > 4*n.white+usualGust {
		n.swing, n.swingFrom, n.swingTo = v, apogee, to
		n.uneven = v * unevenSinkPart
	}
}

// unevenSinkPart is how much a sink that swings so is taken to wander before that is
// measured, 1/s.
const unevenSinkPart = 0.2

// swingSteps are the variances of a swing that are tried, m2.
var swingSteps = [...]float64{0, 0.003, 0.01, 0.03, 0.1, 0.3, 1, 3, 10, 30, 100, 300}

// unevenSteps are what is tried of the wander of the sink, m2/s, and unevenCost is
// what each must better the logarithm of the likelihood by: most sink evenly.
var unevenSteps = [...]float64{0, 0.01, 0.1, 1, 10, 100}

const unevenCost = 1.0

// fewestGusts is how many gusts a log tells of at the least.
const fewestGusts = 4.0

// By how much gusts and wander may be stronger than they were at rest.
var (
	gustSteps   = [...]float64{0.1, 0.25, 0.5, 1, 2, 4}
	wanderSteps = [...]float64{0.1, 0.3, 1, 3, 10}
)
