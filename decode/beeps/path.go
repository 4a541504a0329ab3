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

	course []float64           // what a good path has gathered by each step, in nats
	factor [numKinds][]float64 // as on, for all kinds, as a factor beside the course
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
	best  []float64 // [node][step]: of paths on which the node ends there
	from  []int32   // where it began
	prev  []int32   // the node before it; -1 none
	open  []float64 // of each node of the kind pause: the best begin so far
	openS []int32
	openP []int32
	trace bool // keep from and prev

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
	cells := steps + 1 // of a node
	w.reset(cells*n, n)
	top, end := 0.0, visit{node: -1}
	score = 0
	for k := range g {
		if g[k].kind == pause {
			w.open[k], w.openP[k] = 0, -1
		} else if partial {
			for d := 1; d <= min(steps, s.longest(g[k].kind)); d++ {
				w.put(k*cells+d, s.sound(g[k].kind, 0, d)-openCost, 0, -1)
			}
		}
	}
	for t := 0; t <= steps; t++ {
		for k := range g { // pauses that may end now
			if g[k].kind == pause && w.open[k] > w.best[k*cells+t] {
				w.put(k*cells+t, w.open[k], int(w.openS[k]), int(w.openP[k]))
			}
		}
		for k := range g {
			v := w.best[k*cells+t]
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
						w.put(j*cells+at, v-openCost, t, k)
					}
					continue
				}
				logs := s.log[kj]
				if kj.on() {
					logs = s.on[kj][t*len(logs) : (t+1)*len(logs)]
				}
				if room := min(len(logs), steps-t-least+1); room > 0 {
					w.putAll(j*cells+t+least, v, logs[:room], t, k)
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
			if at := k*cells + t; g[k].kind == pause && w.best[at] > w.open[k] {
				w.open[k] = w.best[at]
				if w.trace {
					w.openS[k], w.openP[k] = w.from[at], w.prev[at]
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

// put offers a path that ends in a cell.
func (w *search) put(at int, v float64, from, prev int) {
	if v <= w.best[at] {
		return
	}
	w.best[at] = v
	if w.trace {
		w.from[at], w.prev[at] = int32(from), int32(prev)
	}
}

// putAll offers one path of value v to each of some cells, with what it adds there.
func (w *search) putAll(at int, v float64, adds []float64, from, prev int) {
	cells := w.best[at : at+len(adds)]
	if w.trace {
		froms, prevs := w.from[at:at+len(adds)], w.prev[at:at+len(adds)]
		for i, x := range adds {
			if x += v; x > cells[i] {
				cells[i], froms[i], prevs[i] = x, int32(from), int32(prev)
			}
		}
		return
	}
	for i, x := range adds {
		if x += v; x > cells[i] { // not max, which minds NaN
			cells[i] = x
		}
	}
}

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

// walk gives the stretches of the path that run found in so many steps, in their
// order.
func (w *search) walk(steps int, end visit) []visit {
	var out []visit
	k, t := end.node, end.to
	if end.from < end.to { // under way at the end
		out = append(out, end)
		k, t = end.prev, end.from
	}
	for k >= 0 {
		at := k*(steps+1) + t
		v := visit{node: k, from: int(w.from[at]), to: t}
		out = append(out, v)
		k, t = int(w.prev[at]), v.from
	}
	slices.Reverse(out)
	return out
}
