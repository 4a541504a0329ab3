package beeps

// shiftMargin is how far behind a number with other pauses may be to be followed, in
// nats.
const shiftMargin = 15.0

// retimed measures the lengths again on the paths of the likeliest numbers, where the
// path without counting has lost or made up beeps, and compares numbers by them.
func (v *vote) retimed(e *ear) []*vote {
	var out []*vote
	order := v.order()
	for i, n := range order[:min(2, len(order))] {
		k, _ := v.code.stretches(n)
		g := chain(k)
		v.work.trace = true
		_, end := v.work.run(g, v.spans, v.partial)
		path := v.work.walk(v.spans.steps, end)
		for i := range path {
			path[i].from *= v.spans.by
			path[i].to *= v.spans.by
		}
		t := v.code.measure(g, path, v.pace)
		again := v.timed(t.spans(e, 8), g, path)
		for _, m := range order[:min(6, len(order))] {
			again.try(m)
		}
		again.climb()
		if out = append(out, again); i == 0 {
			out = append(out, again.shifted(e, t, g, path)...)
		}
	}
	return out
}

// shifted tries what the best number's lengths hide: where the first or last beep of
// each group is missed or made up in all repeats, the pause beside it is learned as
// longer or shorter by just that.
func (v *vote) shifted(e *ear, t timing, g []node, path []visit) []*vote {
	var out []*vote
	n, _, ok := v.best()
	if !ok {
		return nil
	}
	for _, x := range v.code.shifts(n, t) {
		other := t
		other.mean[x.pause] += x.by
		if other.mean[x.pause] < 1.3*t.mean[inner] {
			continue
		}
		again := v.timed(other.spans(e, 8), g, path)
		again.try(x.number)
		if score, tried := again.scores[x.number]; tried && score > v.scores[n]-shiftMargin {
			again.climb()
			out = append(out, again)
		}
	}
	return out
}

// shift is a number that is heard as another where a pause has another length, in ms.
type shift struct {
	pause  kind
	by     float64
	number int
}

// shifts are those of a number: a beep more or less at the begin or the end of its
// groups.
func (c *Code) shifts(n int, t timing) []shift {
	var out []shift
	quick, slow := t.mean[short]+t.mean[inner], t.mean[long]+t.mean[inner]
	for _, s := range []int{-1, 1} {
		less := -float64(s)
		if c.Style == styleMarks {
			out = append(out, shift{between, less * slow, n + s*c.Long}, shift{between, less * quick, n + s*c.Short})
			if c.Lead && n >= c.Long {
				out = append(out, shift{leadGap, less * slow, n + s*c.Long})
			} else if c.Lead {
				out = append(out, shift{leadGap, less * quick, n + s*c.Short})
			}
			continue
		}
		digits := c.digits(n)
		add := func(pause kind, from, to int) {
			x := 0
			for i, d := range digits {
				if i >= from && i < to {
					if d == 0 && c.Zero == zeroLong {
						return
					}
					if d == 0 {
						d = mostCount
					}
					if d += s; d < 1 || d > mostCount || d == mostCount && c.Zero == zeroLong {
						return
					}
				}
				x = 10*x + d%10
			}
			out = append(out, shift{pause, less * quick, x})
		}
		if last := len(digits); last > 1 {
			add(between, 0, last-1)
			add(between, 1, last)
		}
		if c.Lead {
			add(leadGap, 0, 1)
		}
	}
	return out
}
