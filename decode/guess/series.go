package guess

import (
	"math"
	"slices"
	"strconv"
	"strings"
)

// series is one column as numbers.
type series struct {
	v                  []float64 // NaN where there is no number
	n                  int       // numbers
	words              int       // cells that are neither empty nor numbers
	lo, hi, mid        float64
	whole              bool    // only whole numbers
	decimals           int     // at most
	distinct           int     // different values, counted up to many
	rises              float64 // share of steps that go up
	falls              float64 // share of steps that go down
	step               float64 // the middle step
	steady             float64 // share of steps within a fifth of it
	jitter             float64 // middle of the steps' sizes
	noise              float64 // middle of the second differences' sizes
	atStart            float64 // middle of the first tenth
	changesOften, same bool
	timeUnit           string // of times that are written out
	ask                string // what is unclear of it
}

const many = 64

func newSeries(v []float64) *series {
	s := &series{v: v, whole: true, lo: math.Inf(1), hi: math.Inf(-1)}
	var have, steps, bends []float64
	for _, x := range v {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			continue
		}
		s.lo, s.hi = min(s.lo, x), max(s.hi, x)
		s.whole = s.whole && x == math.Trunc(x)
		have = append(have, x)
	}
	s.n = len(have)
	if s.n == 0 {
		s.whole = false
		return s
	}
	up, down := 0, 0
	for i := 1; i < len(have); i++ {
		d := have[i] - have[i-1]
		steps = append(steps, d)
		if d > 0 {
			up++
		} else if d < 0 {
			down++
		}
		if i > 1 {
			bends = append(bends, math.Abs(d-steps[i-2]))
		}
	}
	seen := map[float64]bool{}
	for _, x := range have {
		if len(seen) < many {
			seen[x] = true
		}
	}
	s.distinct, s.same = len(seen), len(seen) == 1
	s.atStart = middle(have[:max(len(have)/10, 1)])
	s.mid = middle(have)
	if len(steps) > 0 {
		s.rises, s.falls = float64(up)/float64(len(steps)), float64(down)/float64(len(steps))
		s.step = middle(steps)
		near := 0
		sizes := make([]float64, len(steps))
		for i, d := range steps {
			sizes[i] = math.Abs(d)
			if math.Abs(d-s.step) <= 0.2*math.Abs(s.step) {
				near++
			}
		}
		s.steady = float64(near) / float64(len(steps))
		s.jitter = middle(sizes)
		s.changesOften = s.rises+s.falls > 0.3
	}
	if len(bends) > 0 {
		s.noise = middle(bends)
	}
	return s
}

// textSeries reads the cells of a column.
func textSeries(cells []string) *series {
	v := make([]float64, len(cells))
	words, decimals := 0, 0
	for i, c := range cells {
		v[i] = math.NaN()
		switch {
		case isNumber(c):
			v[i], _ = strconv.ParseFloat(c, 64) // isNumber has tried
			if _, after, ok := strings.Cut(c, "."); ok {
				decimals = max(decimals, len(after))
			}
		case c != "" && !strings.EqualFold(c, "nan"):
			words++
		}
	}
	if words >= few && 10*words >= 9*len(cells) {
		if s := timeSeries(cells); s != nil {
			return s
		}
	}
	s := newSeries(v)
	s.words, s.decimals = words, decimals
	return s
}

func middle(v []float64) float64 {
	s := slices.Clone(v)
	slices.Sort(s)
	return s[len(s)/2]
}

// within says whether all numbers are between two.
func (s *series) within(lo, hi float64) bool { return s.n > 0 && s.lo >= lo && s.hi <= hi }

// linear is how y follows x: y = a + b x, with the correlation r.
func linear(x, y []float64) (b, r float64) {
	var n, sx, sy, sxx, syy, sxy float64
	for i := range x {
		if math.IsNaN(x[i]) || math.IsNaN(y[i]) {
			continue
		}
		n++
		sx, sy = sx+x[i], sy+y[i]
	}
	if n < few {
		return 0, 0
	}
	mx, my := sx/n, sy/n
	for i := range x {
		if math.IsNaN(x[i]) || math.IsNaN(y[i]) {
			continue
		}
		dx, dy := x[i]-mx, y[i]-my
		sxx, syy, sxy = sxx+dx*dx, syy+dy*dy, sxy+dx*dy
	}
	if sxx == 0 || syy == 0 {
		return 0, 0
	}
	return sxy / sxx, sxy / math.Sqrt(sxx*syy)
}
