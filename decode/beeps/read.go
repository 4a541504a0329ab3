package beeps

import (
	"math"
	"slices"

	"padlark/ingest/beeps"
)

// Beep is one stretch of tone, in steps of the strip: [From, To).
type Beep struct {
	From, To int
	// Kind is "short", "long" or "lead"; Group counts the groups of a repeat from 0
	// (the lead belongs to the first), Repeat the repeats of the strip.
	Kind   string
	Group  int
	Repeat int
}

const whyOutside = "what was heard between the beeps does not fit"

// Reading is what a strip says in a code.
type Reading struct {
	PitchHz int
	// Number is what was beeped, in the code's steps and unit. It means nothing where
	// Found is false.
	Number int
	Found  bool
	// Sure says that no other number is as likely, by far. Why says in words why not,
	// or why there is no number at all.
	Sure bool
	Why  string
	// Repeats is how often the number was heard whole, or nearly.
	Repeats int
	// Rivals are other numbers that may be meant, the likeliest first.
	Rivals []int
	// Margin is by how much the number is likelier than the next, in nats; Score by
	// how much than silence.
	Margin, Score float64
	// Outside is how much tone was heard between the beeps and is not explained, as
	// a part of what the beeps explain.
	Outside float64
	// Beeps are the beeps of the number where it was heard.
	Beeps []Beep

	partial bool // the strip may begin within a repeat
}

const (
	// sureMargin is how much likelier than the next a sure number is, in nats;
	// sureOutside how much more for what is heard between the beeps (the noise is not
	// as it is taken to be), sureLoud for what each beep says beyond loudBeep (nor is
	// the tone, and one beep that is weaker than it should be says as much more).
	sureMargin, sureOutside, sureLoud, loudBeep = 3.5, 60.0, 0.1, 10.0
	loudMost                                    = 3.0 // what sureLoud asks for at the most
	// sureTwice is how much more for a number that was heard whole no more than twice:
	// what one noise has spoiled, no third one mends.
	sureTwice = 4.0
	// leastScore is how much likelier than silence beeps are, in nats: for each
	// beep and in all.
	leastScore, leastPerBeep = 25.0, 0.8
	// sureScore and, for each beep, surePerBeep is how much the beeps of a sure number
	// must stand out, in nats: noise makes up fainter ones that follow any code.
	sureScore, surePerBeep = 15.0, 2.0
	// rivalMargin is within what numbers are named as rivals.
	rivalMargin = 8.0
	// outsideMost is how much tone may be heard between the beeps: wind and voices
	// have more there. Of 322 sounders in noise one was above 0.04.
	outsideMost = 0.05
	// outsideFar is how much shows at once that there is no code in it.
	outsideFar = 0.7
	// loudLevel is from where a guessed level is that of a tone, in the usual noise.
	loudLevel = 10.0
	// fewestBeeps is from how many beeps on their rhythm tells them from a voice that
	// says the same again. Of fewer each must say surePerFew, in nats, to be sure, and
	// surePerTwice where they come only twice: then they have no rhythm at all. In 200
	// made fields without a sounder nothing regular said more than 10.
	fewestBeeps  = 9
	surePerFew   = 18.0
	surePerTwice = 80.0
	// paceMargin is how much a pace may be behind another, in nats.
	paceMargin = 25.0
	// irregular is by how much the distances of repeats may differ, as a part of one.
	irregular = 0.15
	// uneven is by how much the distances of a group's beeps may differ, as a standard
	// deviation in parts of their mean, and unevenSteps what a board's loop and the
	// strip add, in steps. A board's are within 0.05; what a tone that wavers is cut
	// into is not.
	uneven, unevenSteps = 0.07, 1.0
	// starts is from how many paces the lengths are looked for.
	starts = 3
	// rounds bounds the search among the neighbours of a number.
	rounds = 6
)

// Read reads a strip. The code must be valid.
func Read(s beeps.Strip, code Code) Reading {
	c := code.Filled()
	r := Reading{PitchHz: s.PitchHz}
	if hz := float64(s.PitchHz); hz < c.LowHz || c.HighHz > 0 && hz > c.HighHz {
		r.Why = "its pitch is not that of this sounder"
		return r
	}
	if len(s.DB) < 50 {
		r.Why = "nothing was heard for long enough"
		return r
	}
	var w search
	g := c.graph()
	level := guess(&s)
	e := hear(&s, level).weighed()
	at, score := c.scan(&w, e, s.FromStart, paces())
	if level < loudLevel { // what is guessed may be that of voices
		fainter := hear(&s, level/3).weighed()
		if also, low := c.scan(&w, fainter, s.FromStart, paces()); low > score {
			level, e, at, score = level/3, fainter, also, low
		}
	}
	for round := range 3 { // the level is better known once it is known when it beeped
		if round > 0 {
			e = hear(&s, level).weighed()
			at, score = c.scan(&w, e, s.FromStart, around(at))
		}
		if score < leastScore || len(at) == 0 {
			r.Why = "no beeps stand out of the noise"
			return r
		}
		if round == 2 {
			break
		}
		var spans []Beep
		most := 0.0
		for _, pace := range at {
			_, path, score := c.refine(&w, e, s.FromStart, pace)
			heard := beepsOf(g, path)
			if v := score * (1 - e.outside(heard)/outsideFar); v > most {
				spans, most = heard, v
			}
		}
		if spans == nil {
			r.Why = whyOutside
			return r
		}
		level = measured(&s, spans, level)
	}
	var votes []*vote
	most := 0.0
	for _, pace := range at {
		t, path, score := c.refine(&w, e, s.FromStart, pace)
		if score < most-paceMargin {
			continue
		}
		most = max(most, score)
		v := (&vote{code: &c, work: &w, pace: pace, partial: s.FromStart}).timed(t.spans(e, 8), g, path)
		v.first(g, path)
		v.climb()
		votes = append(votes, v)
	}
	best := together(votes)
	together(append([]*vote{best}, best.retimed(e)...)).decide(&r)
	return r
}

// together lets votes that began at other paces try each other's best, and gives the
// best of them with what all have found.
func together(votes []*vote) *vote {
	var winners []int
	for _, v := range votes {
		if n, _, ok := v.best(); ok {
			winners = append(winners, n)
		}
	}
	best, most := votes[0], math.Inf(-1)
	for _, v := range votes {
		for _, n := range winners {
			v.try(n)
		}
		v.climb()
		if n, _, ok := v.best(); ok && v.scores[n] > most {
			best, most = v, v.scores[n]
		}
	}
	for _, v := range votes {
		for n, score := range v.scores {
			if old, has := best.scores[n]; !has || score > old {
				best.scores[n] = score
			}
		}
	}
	return best
}

// beepsOf are the stretches of tone of a path.
func beepsOf(g []node, path []visit) []Beep {
	var out []Beep
	group, repeat := 0, 0
	names := [...]string{short: "short", long: "long", lead: "lead"}
	for i, v := range path {
		switch k := g[v.node].kind; {
		case k.on():
			out = append(out, Beep{From: v.from, To: v.to, Kind: names[k], Group: group, Repeat: repeat})
		case k == between:
			group++
		case k == pause && i > 0:
			group, repeat = 0, repeat+1
		}
	}
	return out
}

// vote compares numbers by how well each explains the whole strip.
type vote struct {
	code    *Code
	work    *search
	pace    float64
	spans   *spans
	partial bool
	scores  map[int]float64
}

// timed is a new vote by other lengths, beside a path of the graph in rows.
func (v *vote) timed(s *spans, g []node, path []visit) *vote {
	s.follow(g, path)
	out := *v
	out.spans, out.scores = s, map[int]float64{}
	return &out
}

// first tries what the repeats of the path say, each by itself.
func (v *vote) first(g []node, path []visit) {
	var groups [][2]int // short and long beeps
	said := func() {
		if n, ok := v.code.number(groups); ok {
			v.try(n)
		}
		groups = nil
	}
	for _, x := range path {
		if len(groups) == 0 {
			groups = [][2]int{{}}
		}
		last := &groups[len(groups)-1]
		switch g[x.node].kind {
		case short:
			last[0]++
		case long:
			last[1]++
		case between:
			groups = append(groups, [2]int{})
		case pause:
			said()
		}
	}
	said()
}

// number is what groups of beeps say, as far as they say one; a digit with too many
// beeps is taken as the highest.
func (c *Code) number(groups [][2]int) (int, bool) {
	if c.Style == styleMarks {
		n := 0
		for _, g := range groups {
			n += min(g[1], mostCount)*c.Long + min(g[0], mostCount)*c.Short
		}
		return n, n > 0 && n <= c.Most
	}
	n := 0
	for _, g := range groups {
		d := 0
		switch {
		case g[0]+g[1] == 0:
			continue
		case g[1] > 0, g[0] >= mostCount && c.Zero == zeroTen:
		default:
			d = min(g[0], 9)
		}
		if n = 10*n + d; n > mostNumber {
			return 0, false
		}
	}
	return n, n <= c.Most && len(groups) > 0
}

// try scores a number, once.
func (v *vote) try(n int) {
	if _, done := v.scores[n]; done {
		return
	}
	k, ok := v.code.stretches(n)
	if !ok {
		return
	}
	// How likely a number is sums up all the ways in which its beeps may lie: the best
	// of them alone would cost each further beep the choice of its place.
	v.scores[n] = v.work.total(k, v.spans, v.partial)
}

// climb tries the neighbours of the best number, until it is better than all.
func (v *vote) climb() {
	for range rounds {
		best, _, ok := v.best()
		if !ok {
			return
		}
		before := len(v.scores)
		for _, n := range v.code.neighbours(best) {
			v.try(n)
		}
		if after, _, _ := v.best(); after == best || len(v.scores) == before {
			return
		}
	}
}

// best gives the likeliest number and the next.
func (v *vote) best() (best, next int, ok bool) {
	order := v.order()
	if len(order) == 0 {
		return 0, 0, false
	}
	next = -1
	if len(order) > 1 {
		next = order[1]
	}
	return order[0], next, true
}

func (v *vote) order() []int {
	var order []int
	for n := range v.scores {
		order = append(order, n)
	}
	slices.SortFunc(order, func(a, b int) int {
		switch x, y := v.scores[a], v.scores[b]; {
		case x > y:
			return -1
		case x < y:
			return 1
		}
		return a - b
	})
	return order
}

// hidden is how many beeps fit into the pause between two digits.
const hidden = 3

// neighbours are numbers that may be taken for n when a beep or a pause is missed
// or made up.
func (c *Code) neighbours(n int) []int {
	var out []int
	if c.Style == styleMarks {
		for _, d := range []int{-2 * c.Short, -c.Short, c.Short, 2 * c.Short} {
			out = append(out, n+d)
		}
		for _, d := range []int{-2 * c.Long, -c.Long, c.Long, 2 * c.Long} {
			out = append(out, n+d, n+d-c.Short, n+d+c.Short)
		}
		return append(out, n/c.Long*c.Long, n%c.Long)
	}
	digits := c.digits(n)
	add := func(d ...int) {
		x := 0
		for _, v := range d {
			x = 10*x + v
		}
		out = append(out, x)
	}
	count := func(d int) int {
		if d == 0 && c.Zero == zeroTen {
			return mostCount
		}
		return d
	}
	for i, d := range digits {
		before, after := digits[:i], digits[i+1:]
		for _, x := range []int{count(d) - 2, count(d) - 1, count(d) + 1, count(d) + 2, 0, 1} {
			if x >= 0 && x <= mostCount {
				add(slices.Concat(before, []int{x % 10}, after)...)
			}
		}
		if len(digits) > 1 {
			add(slices.Concat(before, after)...)
		}
		for x := 1; x < count(d); x++ { // a pause was missed, with the beeps in it
			for y := max(1, count(d)-x-hidden); y <= count(d)-x; y++ {
				add(slices.Concat(before, []int{x % 10, y % 10}, after)...)
			}
		}
		if i > 0 { // a pause was made up
			for more := range hidden + 1 {
				if x := count(digits[i-1]) + count(d) + more; x <= mostCount {
					add(slices.Concat(digits[:i-1], []int{x % 10}, after)...)
				}
			}
			if a, b := count(digits[i-1]), count(d); a+b > 2 { // or it was elsewhere
				for _, move := range []int{-1, 1} {
					if x, y := a+move, b-move; x >= 1 && y >= 1 && x <= mostCount && y <= mostCount {
						add(slices.Concat(digits[:i-1], []int{x % 10, y % 10}, after)...)
					}
				}
			}
		}
	}
	for x := range 10 { // the strip may begin or end within the number
		add(slices.Concat([]int{x}, digits)...)
		add(slices.Concat(digits, []int{x})...)
	}
	return out
}
