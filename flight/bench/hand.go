package bench

import (
	"math"
	"slices"
)

// hand follows a hands-on step while it is done: it notices by the height when
// the board goes up, when it comes back, and when all that matters is heard.
type hand struct {
	kind   Step
	begins float64 // m, from which the board counts as moved
	window float64 // s, of the running mean

	recent []moment // the last window
	sum    float64
	base   float64 // the height before, slowly followed
	baseAt float64
	calmed bool // the baseline is known

	went   bool // the board went up (or down: wrong sign)
	upAt   float64
	came   bool // and came back
	backAt float64
	top    float64 // highest running mean, above base

	pulse    float64 // the release's pulse at rest; NaN
	on       float64
	released float64 // when the release was first told; NaN
}

type moment struct{ t, v float64 }

// How long a hands-on step lasts after its last event, and at most, in s.
const (
	settleS  = 2.0 // until the baseline is known
	afterS   = 4.0 // after the board was put back
	longestS = 90.0
	followS  = 10.0 // the baseline follows with this time constant
)

func newHand(kind Step, p *Plan, c *calm) hand {
	h := hand{kind: kind, pulse: c.pulseUs, on: math.NaN(), released: math.NaN(), baseAt: math.NaN()}
	if kind == StepLift {
		h.begins, h.window = max(0.4*p.LiftM, 0.2), 0.5
	} else {
		// A hand's movement stays below this.
		h.begins, h.window = max(8, 8*c.noiseM), 0.2
	}
	return h
}

// take follows one more point and keeps what is needed of the record.
func (h *hand) take(r *record, p point, zero *heights) {
	r.add(p)
	h.release(p)
	v := zero.height(p)
	if math.IsNaN(v) {
		return
	}
	m := h.mean(moment{p.heard, v})
	if math.IsNaN(h.baseAt) {
		h.baseAt, h.base = p.heard, v
	}
	rise := m - h.base
	switch {
	case !h.calmed:
		h.base = m
		h.calmed = p.heard-h.baseAt > settleS
	case !h.went:
		h.wait(r, p, rise, m)
	case !h.came:
		h.top = furthest(h.top, rise)
		back := 0.5
		if h.kind == StepJar {
			back = 0.3
		}
		if math.Abs(rise) < back*math.Abs(h.top) {
			h.came, h.backAt = true, p.heard
		}
	}
}

// furthest is the one of two numbers that is farther from 0.
func furthest(a, b float64) float64 {
	if math.Abs(b) > math.Abs(a) {
		return b
	}
	return a
}

// wait is for a board that has not been moved yet.
func (h *hand) wait(r *record, p point, rise, mean float64) {
	if math.Abs(rise) > h.begins {
		h.went, h.upAt, h.top = true, p.heard, rise
		return
	}
	if math.Abs(rise) < h.begins/2 {
		dt := p.heard - h.recent[max(0, len(h.recent)-2)].t
		h.base += (mean - h.base) * min(1, dt/followS)
	}
	// Nothing older than 10 s is needed of a board that lies still.
	if p.heard-r.points[0].heard > 20 {
		k := slices.IndexFunc(r.points, func(q point) bool { return p.heard-q.heard < 10 })
		r.points = slices.Delete(r.points, 0, k)
	}
}

// mean is the running mean over the window.
func (h *hand) mean(m moment) float64 {
	h.recent = append(h.recent, m)
	h.sum += m.v
	for len(h.recent) > 1 && m.t-h.recent[0].t > h.window {
		h.sum -= h.recent[0].v
		h.recent = h.recent[1:]
	}
	return h.sum / float64(len(h.recent))
}

// release notices when the board tells that it released.
func (h *hand) release(p point) {
	if !math.IsNaN(h.released) {
		return
	}
	if !math.IsNaN(p.pulseUs) {
		if math.IsNaN(h.pulse) {
			h.pulse = p.pulseUs
		}
		if math.Abs(p.pulseUs-h.pulse) > movedUs {
			h.released = p.heard
		}
	}
	if h.on < 0.5 && p.on > 0.5 {
		h.released = p.heard
	}
	if !math.IsNaN(p.on) {
		h.on = p.on
	}
}

// idle says that nothing has been done yet.
func (h *hand) idle() bool { return !h.went }

// finished says that all that matters has been heard.
func (h *hand) finished(now float64) bool {
	switch {
	case !h.went:
		return false
	case now-h.upAt > longestS:
		return true
	case !h.came:
		return false
	}
	end := h.backAt + afterS
	if h.kind == StepJar && !math.IsNaN(h.released) {
		// The supply's recovery belongs to it.
		end = max(end, h.released+afterS)
	}
	return now > end
}

// say is what the person should do now.
func (h *hand) say(first string) string {
	switch {
	case !h.calmed:
		return "Hold still for a moment …"
	case !h.went:
		return first
	case !h.came && h.kind == StepLift:
		return "It is up. Hold it for 6 s, then put it back."
	case !h.came:
		return "The pressure falls. Hold it for a moment, then let it back slowly."
	}
	return "Back. Leave it for some seconds …"
}
