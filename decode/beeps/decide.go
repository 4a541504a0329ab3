package beeps

import (
	"fmt"
	"math"
	"strings"
)

// decide fills the reading in.
func (v *vote) decide(r *Reading) {
	order := v.order()
	if len(order) == 0 {
		r.Why = "beeps were heard, but they make no number of this code"
		return
	}
	n := order[0]
	r.Number, r.Found, r.Margin = n, true, math.Inf(1)
	if len(order) > 1 {
		r.Margin = v.scores[n] - v.scores[order[1]]
	}
	k, _ := v.code.stretches(n)
	g := chain(k)
	v.work.trace = true
	score, end := v.work.run(g, v.spans, v.partial)
	path := v.work.walk(v.spans.steps, end)
	r.Score = score
	for i := range path {
		path[i].from *= v.spans.by
		path[i].to *= v.spans.by
	}
	r.Beeps = beepsOf(g, path)
	r.Repeats, r.partial = wholeRepeats(len(k), path), v.partial
	r.Outside = v.spans.ear.outside(r.Beeps)
	wanted := sureMargin + sureOutside*r.Outside + min(loudMost, sureLoud*max(0, r.Score/float64(max(1, len(r.Beeps)))-loudBeep))
	if r.Repeats <= 2 {
		wanted += sureTwice
	}
	for _, m := range order[1:] {
		if v.scores[n]-v.scores[m] < max(rivalMargin, wanted) && len(r.Rivals) < 3 {
			r.Rivals = append(r.Rivals, m)
		}
	}
	switch {
	case r.Score < leastScore || r.Score < leastPerBeep*float64(len(r.Beeps)):
		r.Found, r.Why = false, "no beeps stand out of the noise"
	case r.Outside > outsideMost:
		r.Why = whyOutside
	case r.Score < sureScore+surePerBeep*float64(len(r.Beeps)):
		r.Why = "the beeps are too faint"
	case !r.regular():
		r.Why = "what was heard does not come again and again after the same time"
	case !r.even():
		r.Why = "what was heard is not as even as beeps are"
	case len(r.Beeps) < fewestBeeps && r.Score < r.perFew()*float64(len(r.Beeps)):
		r.Why = "too few beeps were heard"
	case r.Repeats == 0:
		r.Why = "the number was not heard from its beginning to its end"
	case r.Margin < wanted:
		var words []string
		for _, m := range r.Rivals {
			words = append(words, fmt.Sprint(m))
		}
		r.Why = "it may also be " + strings.Join(words, " or ")
	default:
		r.Sure = true
	}
}

// perFew is how much each of few beeps must say.
func (r *Reading) perFew() float64 {
	if r.Repeats < 3 {
		return surePerTwice
	}
	return surePerFew
}

// regular says whether repeats begin at even distances (some may have been missed):
// noises that follow a code by chance do not.
func (r *Reading) regular() bool {
	var starts []float64
	last := -1
	for _, b := range r.Beeps {
		if b.Repeat != last && (last >= 0 || !r.partial) {
			starts = append(starts, float64(b.From))
		}
		last = b.Repeat
	}
	least := math.Inf(1)
	for i := 1; i < len(starts); i++ {
		least = min(least, starts[i]-starts[i-1])
	}
	for i := 1; i < len(starts); i++ {
		times := (starts[i] - starts[i-1]) / least
		if math.Abs(times-math.Round(times)) > irregular {
			return false
		}
	}
	return true
}

// even says whether the beeps of the groups follow each other at even distances, from
// middle to middle, where there are enough of them. A first beep of which the strip
// may have only the end has no middle.
func (r *Reading) even() bool {
	var n, sum, squares [2]float64
	beeps := r.Beeps
	if r.partial && len(beeps) > 0 {
		beeps = beeps[1:]
	}
	for i := 1; i < len(beeps); i++ {
		a, b := beeps[i-1], beeps[i]
		if a.Repeat != b.Repeat || a.Group != b.Group || a.Kind != b.Kind {
			continue
		}
		k := 0
		if b.Kind == "long" {
			k = 1
		}
		d := float64(b.From+b.To-a.From-a.To) / 2
		n[k], sum[k], squares[k] = n[k]+1, sum[k]+d, squares[k]+d*d
	}
	for k := range n {
		if n[k] < 4 {
			continue
		}
		mean := sum[k] / n[k]
		if math.Sqrt(max(0, squares[k]/n[k]-mean*mean)) > uneven*mean+unevenSteps {
			return false
		}
	}
	return true
}

// outside compares what speaks for a tone outside the beeps with what does so
// within: wind and voices have no rhythm that a code explains.
func (e *ear) outside(spans []Beep) float64 {
	const edge, width = 4, 10 // rows
	in, out, at := 0.0, 0.0, 0
	last := e.rows()
	for _, b := range spans {
		in += e.tone(min(last, b.From), min(last, b.To))
	}
	for i := 0; i+width <= last; i += width / 2 {
		for at < len(spans) && spans[at].To+edge <= i {
			at++
		}
		if at < len(spans) && i+width > spans[at].From-edge {
			continue
		}
		out += max(0, e.piece(i, i+width)) / 2
	}
	if in <= 0 {
		return math.Inf(1)
	}
	return out / in
}

// wholeRepeats counts how often a path passes the number from its first stretch to
// its last.
func wholeRepeats(last int, path []visit) int {
	n, next := 0, -1
	for _, v := range path {
		switch {
		case v.node == 0:
			next = 1
		case v.node == next:
			next++
		default:
			next = -1
		}
		if next == last {
			n++
		}
	}
	return n
}
