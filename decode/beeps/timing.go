package beeps

import (
	"cmp"
	"math"
	"slices"

	"padlark/ingest/beeps"
)

// The place of each node in the code's graph.
const (
	atPause = iota
	atLead
	atLeadGap
	atShort
	atInnerShort
	atBetween
	atLong
	atInnerLong
	numPlaces
)

// graph is everything that the code can say, without counting.
func (c *Code) graph() []node {
	g := make([]node, numPlaces)
	for i, k := range []kind{pause, lead, leadGap, short, inner, between, long, inner} {
		g[i].kind = k
	}
	marks := c.Style == styleMarks
	begin := []int{atShort}
	if marks || c.Zero == zeroLong {
		begin = append(begin, atLong)
	}
	g[atPause].next = begin
	if c.Lead {
		g[atPause].next = []int{atLead}
		g[atLead].next, g[atLeadGap].next = []int{atLeadGap}, begin
	}
	g[atShort].next, g[atInnerShort].next = []int{atInnerShort, atPause}, []int{atShort}
	g[atBetween].next = begin
	switch {
	case marks:
		g[atLong].next, g[atInnerLong].next = []int{atInnerLong, atBetween, atPause}, []int{atLong}
		g[atBetween].next = []int{atShort}
	case c.Zero == zeroLong:
		g[atLong].next = []int{atBetween, atPause}
		fallthrough
	default:
		g[atShort].next = append(g[atShort].next, atBetween)
	}
	return g
}

// chain is the graph of one number, said again and again.
func chain(stretches []kind) []node {
	g := make([]node, len(stretches)+1)
	for i, k := range stretches {
		g[i] = node{k, []int{i + 1}}
	}
	g[len(stretches)] = node{pause, []int{0}}
	return g
}

// timing is what is known of the lengths, in ms.
type timing struct {
	mean   [numKinds]float64
	spread [numKinds]float64 // relative standard deviations
}

// steps is how many rows make one step of the search: a short beep is to have some.
func (t *timing) steps(fine float64) int {
	return max(1, int(min(t.mean[short], t.mean[inner])/fine/beeps.StepMs))
}

func (t *timing) spans(e *ear, fine float64) *spans {
	by := t.steps(fine)
	mean := t.mean
	for k := range mean {
		mean[k] /= float64(beeps.StepMs * by)
	}
	return newSpans(e, by, mean, t.spread)
}

// How much the lengths may differ from the code's, before and after they have been
// measured, as relative standard deviations.
func looseSpread() [numKinds]float64 {
	return [numKinds]float64{short: 0.2, long: 0.2, lead: 0.2, inner: 0.2, between: 0.2, leadGap: 0.2, pause: 0.2}
}

func tightSpread() [numKinds]float64 {
	return [numKinds]float64{short: 0.1, long: 0.1, lead: 0.1, inner: 0.1, between: 0.1, leadGap: 0.12, pause: 0.12}
}

// usual is what lengths of one kind differ on one board, and how many measurements
// that is worth.
const usual, usualCounts = 0.05, 4.0

// paces are how much slower than its code a board may be.
func paces() []float64 {
	var out []float64
	for p := 0.5; p < 2.1; p *= 1.12 {
		out = append(out, p)
	}
	return out
}

// pauseLeast is the part of the pause between repeats that it has at the least.
const pauseLeast = 0.72

// at is the code's timing at a pace.
func (c *Code) at(pace float64) timing {
	t := timing{mean: c.lengths(), spread: looseSpread()}
	for k := range t.mean {
		t.mean[k] *= pace
	}
	t.mean[pause] *= pauseLeast
	return t
}

// scan tries paces, in their order, and gives those that are better than the ones
// beside them, the best first.
func (c *Code) scan(w *search, e *ear, partial bool, all []float64) (found []float64, best float64) {
	g := c.graph()
	w.trace = false
	scores := make(map[float64]float64, len(all))
	for _, p := range all {
		t := c.at(p)
		s := t.spans(e, 6)
		s.work = w
		scores[p], _ = w.run(g, s, partial)
		best = max(best, scores[p])
	}
	for i, p := range all {
		if scores[p] > 0 && (i == 0 || scores[p] > scores[all[i-1]]) && (i == len(all)-1 || scores[p] >= scores[all[i+1]]) {
			found = append(found, p)
		}
	}
	slices.SortFunc(found, func(a, b float64) int { return cmp.Compare(scores[b], scores[a]) })
	return found[:min(len(found), starts)], best
}

// around are the paces that are near to some.
func around(some []float64) []float64 {
	return slices.DeleteFunc(paces(), func(p float64) bool {
		return !slices.ContainsFunc(some, func(q float64) bool { return math.Abs(math.Log(p/q)) < math.Log(1.2) })
	})
}

// refine finds the lengths of a strip's beeps from a pace on, and the best path.
func (c *Code) refine(w *search, e *ear, partial bool, pace float64) (t timing, path []visit, score float64) {
	g := c.graph()
	t = c.at(pace)
	w.trace = true
	for round := range 3 {
		s := t.spans(e, 10)
		s.work = w
		var end visit
		score, end = w.run(g, s, partial)
		path = w.walk(s.steps, end)
		for i := range path {
			path[i].from *= s.by
			path[i].to *= s.by
		}
		if round < 2 {
			t = c.measure(g, path, pace)
		}
	}
	return t, path, score
}

// measure takes the lengths from a path.
func (c *Code) measure(g []node, path []visit, pace float64) timing {
	base := c.lengths()
	t := timing{spread: tightSpread()}
	var logs, squares, n [numKinds]float64
	least := math.Inf(1)
	for i, v := range path {
		if i == 0 || i == len(path)-1 {
			continue // perhaps not whole
		}
		ms := float64((v.to - v.from) * beeps.StepMs)
		k := g[v.node].kind
		if k == pause {
			least = min(least, ms)
			continue
		}
		d := math.Log(max(ms, 1) / (base[k] * pace))
		logs[k] += d
		squares[k] += d * d
		n[k]++
	}
	for k := range base {
		// The code's own length counts as one more measurement.
		mean := logs[k] / (n[k] + 1)
		t.mean[k] = base[k] * pace * math.Exp(mean)
		if n[k] > 0 {
			own := math.Sqrt((usual*usual*usualCounts + squares[k] - n[k]*mean*mean) / (usualCounts + n[k]))
			t.spread[k] = min(t.spread[k], own)
		}
		t.spread[k] = math.Hypot(t.spread[k], 0.15/(n[k]+1))
	}
	t.mean[pause] = base[pause] * pace * pauseLeast
	if !math.IsInf(least, 1) {
		t.mean[pause] = max(min(t.mean[pause], 0.85*least), 1.3*t.mean[between])
	}
	return t
}
