package smooth

import "math"

// A descent in two stages: a small parachute at the top and a large one lower, or
// one that hangs fast and comes free.
const (
	stageRatio  = 1.5  // by how much the first is faster, at the least
	stageLeastS = 1.5  // that each lasts, s
	stageLeastM = 4.0  // and falls, m
	stagePart   = 0.1  // of the flights whose sink changes so are such ones
	stageSinkSD = 0.3  // of the logarithm of the drag, about what the slopes say
	secondSD    = 0.8  // s
	stageEndS   = 40.0 // s
)

// stage is a change of the sink rate.
type stage struct {
	ok            bool
	at            float64 // s
	before, after float64 // m/s downward
}

// findStage looks for one change of a steady sink between from and to: the broken
// line that fits the readings best, with the longer part of each of its sides
// steady. Where a long descent shows none, for it slows as the air thickens, its end is
// looked at alone.
func (r *readings) findStage(from, to float64) stage {
	s := r.stageBetween(from, to)
	if !s.ok && to-from > 2*stageEndS {
		s = r.stageBetween(to-stageEndS, to)
	}
	return s
}

func (r *readings) stageBetween(from, to float64) stage {
	t, h := r.thinned(from, to, 160)
	n := len(t)
	if n < 12 {
		return stage{}
	}
	_, whole := line(t, h)
	best, at := math.Inf(1), 0
	for k := 4; k < n-4; k++ {
		_, c0 := line(t[:k], h[:k])
		_, c1 := line(t[k:], h[k:])
		if c := c0 + c1; c < best {
			best, at = c, k
		}
	}
	if at == 0 || best > 0.3*whole {
		return stage{}
	}
	v0, _ := line(t[:at], h[:at])
	v1, _ := line(t[at:], h[at:])
	s := stage{at: (t[at-1] + t[at]) / 2, before: -v0, after: -v1}
	long := t[at-1]-t[0] > stageLeastS && t[n-1]-t[at] > stageLeastS
	deep := s.before*(t[at-1]-t[0]) > stageLeastM && s.after*(t[n-1]-t[at]) > stageLeastM
	s.ok = long && deep && s.after > 0.5 && s.before > stageRatio*s.after
	return s
}

// thinned are at most n medians of the readings between from and to.
func (r *readings) thinned(from, to float64, n int) (t, h []float64) {
	i, j := r.at(from), r.at(to)
	size := max(1, (j-i+n-1)/n)
	for ; i+size <= j; i += size {
		t, h = append(t, median(r.t[i:i+size])), append(h, median(r.h[i:i+size]))
	}
	return t, h
}

// line is the slope of the straight line through points, and the sum of the squares
// that it leaves.
func line(t, h []float64) (slope, left float64) {
	n := float64(len(t))
	var mt, mh, tt, th, hh float64
	for i := range t {
		mt += t[i] / n
		mh += h[i] / n
	}
	for i := range t {
		tt += sq(t[i] - mt)
		th += (t[i] - mt) * (h[i] - mh)
		hh += sq(h[i] - mh)
	}
	if tt == 0 {
		return 0, hh
	}
	return th / tt, max(0, hh-th*th/tt)
}

// stagesOf makes cells of a release near the apogee and a second parachute at the
// change of the sink.
func (a *analysis) stagesOf(s stage) []cell {
	cells := a.cells(withTime)
	kept := cells[:0]
	for _, c := range cells {
		if c.at > s.at-0.5 {
			continue
		}
		c.second = s
		c.weight += math.Log(stagePart)
		kept = append(kept, c)
	}
	return kept
}
