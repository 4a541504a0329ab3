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
	// In free flight a rocket moves with what turns it, and gusts show less.
	calmFrom, calmTo float64 // s
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
	n := noise{gustTau: gustTau, wander: leastWander}
	var d []float64
	rest := func(i int) bool { return r.t[i] < liftoff-0.3 || r.t[i] > touchdown+1 }
	for i := 2; i < len(r.t); i++ {
		if rest(i) && rest(i-2) && r.t[i]-r.t[i-2] < 1 {
			d = append(d, math.Abs(r.h[i]-2*r.h[i-1]+r.h[i-2])/math.Sqrt(6))
		}
	}
	if len(d) < 30 {
		for i := 2; i < len(r.t); i++ {
			if r.t[i] > liftoff+0.5 {
				d = append(d, math.Abs(r.h[i]-2*r.h[i-1]+r.h[i-2])/math.Sqrt(6))
			}
		}
	}
	n.white = robustVar(d)
	n.white = max(n.white, r.step*r.step/12, 1e-4)
	n.learnSlow(r, liftoff, touchdown)
	return n
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
	state := make([][2]float64, len(cols)) // gust, level
	p := [3]float64{n.gust, 0, unknown}    // gg, gl, ll
	for i := range t {
		if i > 0 {
			dt := t[i] - t[i-1]
			a := math.Exp(-dt / n.gustTau)
			p[0] = a*a*p[0] + n.gust*(1-a*a)
			p[1] *= a
			p[2] += n.wander * dt
			for c := range state {
				state[c][0] *= a
			}
		}
		g := 1.0
		if t[i] >= n.calmFrom && t[i] < n.calmTo {
			g = calmGust
		}
		s0 := g*g*p[0] + 2*g*p[1] + p[2] + n.white
		s := s0 + extra[i]
		base[i] = s0
		k0, k1 := (g*p[0]+p[1])/s, (g*p[1]+p[2])/s
		norm := 1 / math.Sqrt(s)
		for c, col := range cols {
			e := col[i] - g*state[c][0] - state[c][1]
			state[c][0] += k0 * e
			state[c][1] += k1 * e
			col[i] = e * norm
		}
		c0, c1 := g*p[0]+p[1], g*p[1]+p[2]
		p[0] -= k0 * c0
		p[1] -= k0 * c1
		p[2] -= k1 * c1
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
	f.path.heights(&f.q, f.t, f.start, math.NaN(), res)
	for i := range res {
		res[i] = f.h[i] - res[i]
	}
	work := make([]float64, len(res))
	base := make([]float64, len(res))
	var logs [len(gustSteps) * len(wanderSteps)]float64
	var tries [len(logs)]noise
	best := math.Inf(-1)
	for i := range logs {
		g, w := gustSteps[i%len(gustSteps)], wanderSteps[i/len(gustSteps)]
		tries[i] = *n
		tries[i].gust, tries[i].wander = max(n.gust*g, 1e-4), max(n.wander*w, leastWander)
		copy(work, res)
		tries[i].whiten(f.t, f.extra, [][]float64{work}, base)
		l := -0.5 * (sq(math.Log(g)/0.9) + sq(math.Log(w)/1.2))
		for k, u := range work {
			l -= 0.5 * (math.Log(base[k]+f.extra[k]) + u*u)
		}
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

// fewestGusts is how many gusts a log tells of at the least.
const fewestGusts = 4.0

// By how much gusts and wander may be stronger than they were at rest.
var (
	gustSteps   = [...]float64{0.1, 0.25, 0.5, 1, 2, 4}
	wanderSteps = [...]float64{0.1, 0.3, 1, 3, 10}
)
