package logimport

import (
	"math"
	"time"
)

// Point is a height above the pad at a time.
type Point struct {
	At time.Time
	M  float64
}

// Alignment says how a log lies over what was heard by radio.
type Alignment struct {
	// Offset is to be added to the log's times.
	Offset time.Duration `json:"-"`
	// OffsetS is the same in s.
	OffsetS float64 `json:"offset_s"`
	// Correlation of the heights at that offset, 1 at most.
	Correlation float64 `json:"correlation"`
	// RMSM is the rms difference of the heights, less its mean, in m.
	RMSM float64 `json:"rms_m"`
	// OverlapS is how much of both lies over each other, in s.
	OverlapS float64 `json:"overlap_s"`
}

// Good says whether the two are the same flight: the same shape, to what two
// series of one sensor may differ by.
func (a Alignment) Good(heightM float64) bool {
	return a.Correlation >= 0.98 && a.RMSM <= max(2, 0.05*heightM)
}

const (
	gridS     = 0.05 // s between the points that are compared
	holeS     = 1.0  // s without a reading over which nothing is laid
	leastPart = 0.5  // of the shorter series that must lie over the other
)

// Align finds the offset at which the heights agree best, by cross-correlation
// (the correlation coefficient of what lies over each other, so that neither
// level nor scale matters), and between the points of the grid by a parabola
// through the best three. ok is false if there is too little to compare.
func Align(log, radio []Point) (a Alignment, ok bool) {
	if len(log) < 10 || len(radio) < 10 {
		return a, false
	}
	x, y := grid(log), grid(radio)
	least := int(leastPart * float64(min(count(x), count(y))))
	if least < 20 {
		return a, false
	}
	span := max(spread(x), spread(y))
	best, at := math.Inf(-1), 0
	// Lag k lays x[i] over y[i+k].
	value := func(k int) float64 {
		r, n, high := correlate(x, y, k)
		if n < least || high < 0.8*span {
			return math.Inf(-1)
		}
		return r
	}
	for k := -len(x); k <= len(y); k++ {
		if r := value(k); r > best {
			best, at = r, k
		}
	}
	if math.IsInf(best, -1) {
		return a, false
	}
	shift := float64(at)
	if l, r := value(at-1), value(at+1); !math.IsInf(l, -1) && !math.IsInf(r, -1) && l+r < 2*best {
		shift += 0.5 * (l - r) / (l - 2*best + r)
	}
	a.Offset = radio[0].At.Sub(log[0].At) + time.Duration(shift*gridS*1e9)
	a.OffsetS, a.Correlation = a.Offset.Seconds(), best
	a.RMSM, a.OverlapS = difference(x, y, at)
	return a, true
}

// grid lays heights on a grid from the first point on; NaN in holes.
func grid(p []Point) []float64 {
	start := p[0].At
	n := int(p[len(p)-1].At.Sub(start).Seconds()/gridS) + 1
	out := make([]float64, n)
	k := 0
	for i := range out {
		t := float64(i) * gridS
		for k+1 < len(p) && p[k+1].At.Sub(start).Seconds() < t {
			k++
		}
		out[i] = math.NaN()
		if k+1 >= len(p) {
			continue
		}
		t0, t1 := p[k].At.Sub(start).Seconds(), p[k+1].At.Sub(start).Seconds()
		if t1-t0 > holeS || t1 <= t0 {
			continue
		}
		out[i] = p[k].M + (p[k+1].M-p[k].M)*(t-t0)/(t1-t0)
	}
	return out
}

func count(x []float64) (n int) {
	for _, v := range x {
		if !math.IsNaN(v) {
			n++
		}
	}
	return n
}

func spread(x []float64) float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range x {
		if !math.IsNaN(v) {
			lo, hi = min(lo, v), max(hi, v)
		}
	}
	return hi - lo
}

// overlap calls fn for the pairs that lie over each other.
func overlap(x, y []float64, lag int, fn func(a, b float64)) {
	for i := max(0, -lag); i < len(x) && i+lag < len(y); i++ {
		if a, b := x[i], y[i+lag]; !math.IsNaN(a) && !math.IsNaN(b) {
			fn(a, b)
		}
	}
}

// correlate gives the correlation coefficient, the number of pairs and the
// smaller of the two spreads in them.
func correlate(x, y []float64, lag int) (r float64, n int, high float64) {
	var sx, sy, sxx, syy, sxy float64
	lx, hx, ly, hy := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	overlap(x, y, lag, func(a, b float64) {
		n++
		sx, sy, sxx, syy, sxy = sx+a, sy+b, sxx+a*a, syy+b*b, sxy+a*b
		lx, hx, ly, hy = min(lx, a), max(hx, a), min(ly, b), max(hy, b)
	})
	m := float64(n)
	vx, vy := sxx-sx*sx/m, syy-sy*sy/m
	if n < 2 || vx <= 0 || vy <= 0 {
		return math.Inf(-1), n, 0
	}
	return (sxy - sx*sy/m) / math.Sqrt(vx*vy), n, min(hx-lx, hy-ly)
}

func difference(x, y []float64, lag int) (rms, seconds float64) {
	var n, s, ss float64
	overlap(x, y, lag, func(a, b float64) { n, s, ss = n+1, s+b-a, ss+(b-a)*(b-a) })
	return math.Sqrt(max(0, ss/n-s/n*s/n)), n * gridS
}
