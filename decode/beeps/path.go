package beeps

import (
	"math"
	"slices"
)

// A path through a strip gives each step to one stretch. Which may follow which is
// a graph; the best path is found over all lengths of all stretches at once (a
// semi-Markov model, common practice, no source).

// node is a place in the graph.
type node struct {
	kind kind
	next []int
}

// spans says how likely each length of each kind is, in steps, and what a strip says
// for a tone of each length from each step on.
type spans struct {
	by    int // rows of a step
	steps int
	ear   *ear
	least [numKinds]int
	log   [numKinds][]float64 // from least on
	mean  [numKinds]int
	on    [numKinds][]float64 // [step][length from least on]: with the length's own
	work  *search             // whose tables may be used for on; nil for new ones
}

// openCost is what a pause of any length costs, in nats, as a likelihood of its
// length would.
const openCost = 3.0

// newSpans spreads the lengths (in steps) by a relative standard deviation for each
// kind, normal in the logarithm.
func newSpans(e *ear, by int, mean, spread [numKinds]float64) *spans {
	s := &spans{by: by, steps: e.rows() / by, ear: e}
	for k := range mean {
		m, sd := max(1, mean[k]), spread[k]
		lo, hi := max(1, int(m*math.Exp(-2.7*sd))), int(math.Ceil(m*math.Exp(2.7*sd)))
		s.least[k], s.mean[k] = lo, int(math.Round(m))
		sum := 0.0
		for d := lo; d <= hi; d++ {
			// A step on either side is never impossible: it is the grid's own error.
			sd := math.Hypot(sd, 0.4/float64(d))
			z := math.Log(float64(d)/m) / sd
			p := math.Exp(-z * z / 2)
			s.log[k] = append(s.log[k], p)
			sum += p
		}
		for i, p := range s.log[k] {
			s.log[k][i] = math.Log(p / sum)
		}
	}
	return s
}

// listen fills in what the strip says for a kind.
func (s *spans) listen(k kind) {
	if s.on[k] != nil {
		return
	}
	logs := s.log[k]
	n := len(logs)
	out := s.table(k, (s.steps+1)*n)
	whole := max(1, pieceRows/s.by) // steps of a piece
	if s.least[k]+n-1 <= 2*whole {
		for t := range s.steps + 1 {
			for i := 0; i < n && t+s.least[k]+i <= s.steps; i++ {
				out[t*n+i] = logs[i] + s.tone(t, t+s.least[k]+i)
			}
		}
		s.on[k] = out
		return
	}
	// Long ones are summed up from pieces.
	piece := make([]float64, s.steps+1)
	for t := range piece {
		if t+whole <= s.steps {
			piece[t] = s.tone(t, t+whole)
		}
	}
	for t := range s.steps + 1 {
		sum, at, i := 0.0, t, 0
		for at < t+s.least[k]+n-1 && i < n && at <= s.steps {
			for ; i < n && t+s.least[k]+i < at+whole; i++ {
				out[t*n+i] = logs[i] + sum + piece[at]*float64(t+s.least[k]+i-at)/float64(whole)
			}
			sum += piece[at]
			at += whole
		}
		if i < n && at <= s.steps {
			out[t*n+i] = logs[i] + sum
		}
	}
	s.on[k] = out
}

func (s *spans) table(k kind, n int) []float64 {
	if s.work == nil {
		return make([]float64, n)
	}
	t := &s.work.tables[k]
	if cap(*t) < n {
		*t = make([]float64, n)
	}
	return (*t)[:n]
}

// tone is what the strip says for a tone, in steps.
func (s *spans) tone(from, to int) float64 { return s.ear.tone(from*s.by, to*s.by) }

// longest is the longest likely length of a kind.
func (s *spans) longest(k kind) int { return s.least[k] + len(s.log[k]) - 1 }

// search is the place for the work, used again and again.
type search struct {
	best  []float64 // [step][node]: of paths on which the node ends there
	from  []int32   // where it began
	prev  []int32   // the node before it; -1 none
	open  []float64 // of each node of the kind pause: the best begin so far
	openS []int32
	openP []int32
	trace bool // keep from and prev
	sum   bool // of all paths that end there, and not the best of them; not with trace

	tables [numKinds][]float64 // of the spans that are tried at the moment
}

// beam is by how much a path may be behind the best and still be followed, nats.
const beam = 60.0

var impossible = math.Inf(-1) // a constant that Go has no literal for

// visit is one stretch of a path: steps [from, to).
type visit struct {
	node     int
	from, to int
	prev     int // the node before it, where the path ends within this one
}

// run finds the best path. partial lets the strip begin within any node. The score
// is over that of silence throughout.
func (w *search) run(g []node, s *spans, partial bool) (score float64, at visit) {
	n, steps := len(g), s.steps
	for k := range g {
		if g[k].kind.on() {
			s.listen(g[k].kind)
		}
	}
	w.reset((steps+1)*n, n)
	top, end := 0.0, visit{node: -1}
	score = 0
	for k := range g {
		if g[k].kind == pause {
			w.open[k], w.openP[k] = 0, -1
		} else if partial {
			for d := 1; d <= min(steps, s.longest(g[k].kind)); d++ {
				w.put(d, n, k, s.sound(g[k].kind, 0, d)-openCost, 0, -1)
			}
		}
	}
	for t := 0; t <= steps; t++ {
		row := w.best[t*n : (t+1)*n]
		for k := range g { // pauses that may end now
			if g[k].kind == pause && w.open[k] > row[k] {
				w.put(t, n, k, w.open[k], int(w.openS[k]), int(w.openP[k]))
			}
		}
		for k, v := range row {
			if v == impossible || v < top-beam {
				continue
			}
			if v > top {
				top = v
			}
			for _, j := range g[k].next {
				kj := g[j].kind
				least := s.least[kj]
				if kj == pause {
					if v > score { // and then silence to the end
						score, end = v, visit{node: k, from: t, to: t}
					}
					if at := t + s.mean[kj]; at <= steps {
						w.put(at, n, j, v-openCost, t, k)
					}
					continue
				}
				logs := s.log[kj]
				if kj.on() {
					logs = s.on[kj][t*len(logs) : (t+1)*len(logs)]
				}
				for i, lp := range logs[:max(0, min(len(logs), steps-t-least+1))] {
					w.put(t+least+i, n, j, v+lp, t, k)
				}
				// It may be under way when the strip ends.
				if left := steps - t; left < s.longest(kj) {
					if x := v - openCost + s.sound(kj, t, steps); x > score {
						score, end = x, visit{node: j, from: t, to: steps, prev: k}
						if left == 0 { // it has not begun: no path may lead to it
							end.node = k
						}
					}
				}
			}
		}
		for k := range g { // a pause that has its least length may go on
			if g[k].kind == pause && row[k] > w.open[k] {
				w.open[k] = row[k]
				if w.trace {
					w.openS[k], w.openP[k] = w.from[t*n+k], w.prev[t*n+k]
				}
			}
		}
	}
	return score, end
}

func (s *spans) sound(k kind, from, to int) float64 {
	if k.on() {
		return s.tone(from, to)
	}
	return 0
}

// put offers a path on which node j lasts until step to.
func (w *search) put(to, n, j int, v float64, from, prev int) {
	at := to*n + j
	if was := w.best[at]; w.sum && was != impossible {
		w.best[at] = logSum(was, v)
		return
	} else if v <= was {
		return
	}
	w.best[at] = v
	if w.trace {
		w.from[at], w.prev[at] = int32(from), int32(prev)
	}
}

// logSum is ln(e^a + e^b), within 0.001.
func logSum(a, b float64) float64 {
	if a < b {
		a, b = b, a
	}
	at := (a - b) * sumSteps
	i := int(at)
	if i >= len(sums)-1 {
		return a
	}
	return a + sums[i] + (at-float64(i))*(sums[i+1]-sums[i])
}

// sums is ln(1 + e^-x) for x in steps of 1/sumSteps; beyond, it is nothing.
const sumSteps = 16

var sums = func() (out [8 * sumSteps]float64) {
	for i := range out {
		out[i] = math.Log1p(math.Exp(-float64(i) / sumSteps))
	}
	return out
}()

func (w *search) reset(cells, nodes int) {
	grow := func(v []float64, n int) []float64 {
		if cap(v) < n {
			v = make([]float64, n)
		}
		v = v[:n]
		for i := range v {
			v[i] = impossible
		}
		return v
	}
	w.best, w.open = grow(w.best, cells), grow(w.open, nodes)
	if cap(w.openS) < nodes {
		w.openS, w.openP = make([]int32, nodes), make([]int32, nodes)
	}
	w.openS, w.openP = w.openS[:nodes], w.openP[:nodes]
	clear(w.openS)
	if w.trace {
		if cap(w.from) < cells {
			w.from, w.prev = make([]int32, cells), make([]int32, cells)
		}
		w.from, w.prev = w.from[:cells], w.prev[:cells]
	}
}

// walk gives the stretches of the path that run found, in their order. n is the
// number of nodes.
func (w *search) walk(n int, end visit) []visit {
	var out []visit
	k, t := end.node, end.to
	if end.from < end.to { // under way at the end
		out = append(out, end)
		k, t = end.prev, end.from
	}
	for k >= 0 {
		at := t*n + k
		v := visit{node: k, from: int(w.from[at]), to: t}
		out = append(out, v)
		k, t = int(w.prev[at]), v.from
	}
	slices.Reverse(out)
	return out
}
