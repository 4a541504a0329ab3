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

// coarse makes the sums of steps of several rows.
func coarse(sum []float64, by int) []float64 {
	if by <= 1 {
		return sum
	}
	out := make([]float64, 0, len(sum)/by+1)
	for i := 0; i < len(sum); i += by {
		out = append(out, sum[i])
	}
	return out
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

func (t *timing) spans(by int) spans {
	mean := t.mean
	for k := range mean {
		mean[k] /= float64(beeps.StepMs * by)
	}
	return newSpans(mean, t.spread)
}

// How much the lengths may differ from the code's, before and after they have been
// measured, as relative standard deviations.
func looseSpread() [numKinds]float64 {
	return [numKinds]float64{short: 0.2, long: 0.2, lead: 0.2, inner: 0.2, between: 0.2, leadGap: 0.2, pause: 0.2}
}

func tightSpread() [numKinds]float64 {
	return [numKinds]float64{short: 0.1, long: 0.1, lead: 0.1, inner: 0.1, between: 0.1, leadGap: 0.12, pause: 0.12}
}

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

// scan tries all paces and gives those that are better than the ones beside them,
// the best first, at most `most`.
func (c *Code) scan(w *search, sum []float64, partial bool, most int) (found []float64, best float64) {
	g := c.graph()
	w.trace = false
	all := paces()
	scores := make([]float64, len(all))
	for i, p := range all {
		t := c.at(p)
		by := t.steps(6)
		s := t.spans(by)
		scores[i], _ = w.run(g, coarse(sum, by), &s, partial)
		best = max(best, scores[i])
	}
	for i, p := range all {
		if scores[i] > 0 && (i == 0 || scores[i] > scores[i-1]) && (i == len(all)-1 || scores[i] >= scores[i+1]) {
			found = append(found, p)
		}
	}
	slices.SortFunc(found, func(a, b float64) int {
		return cmp.Compare(scores[slices.Index(all, b)], scores[slices.Index(all, a)])
	})
	return found[:min(len(found), most)], best
}

// refine finds the lengths of a strip's beeps from a pace on, and the best path.
func (c *Code) refine(w *search, sum []float64, partial bool, pace float64) (t timing, path []visit, score float64) {
	g := c.graph()
	t = c.at(pace)
	w.trace = true
	for round := range 3 {
		by := t.steps(10)
		s := t.spans(by)
		var end visit
		score, end = w.run(g, coarse(sum, by), &s, partial)
		path = w.walk(len(g), end)
		for i := range path {
			path[i].from *= by
			path[i].to *= by
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
	var logs, n [numKinds]float64
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
		logs[k] += math.Log(max(ms, 1))
		n[k]++
	}
	for k := range base {
		// The code's own length counts as one more measurement.
		prior := math.Log(base[k] * pace)
		t.mean[k] = math.Exp((logs[k] + prior) / (n[k] + 1))
		t.spread[k] = math.Hypot(t.spread[k], 0.15/(n[k]+1))
	}
	t.mean[pause] = base[pause] * pace * pauseLeast
	if !math.IsInf(least, 1) {
		t.mean[pause] = max(min(t.mean[pause], 0.85*least), 1.3*t.mean[between])
	}
	return t
}
