package logimport

import (
	"fmt"
	"math"
	"time"

	"padlark/decode"
)

// timeline puts frames in time: by the board's clock, or by when they were
// heard if that is known.
type timeline struct {
	log     *Log
	guarded bool // a checksum protects the lines

	last      time.Duration // of the frame before, since its stretch began
	lastClock float64       // s, as sent
	lastBoot  float64
	lastStep  float64
	turned    float64 // s added because the clock began again
	start     float64 // clock at the stretch's start, s
	leapt     int     // lines in a row whose clock leapt
}

const (
	reorder  = 0.5    // s that a line may be older than the one before
	leapMost = 3600.0 // s that a log may pause without a checksum to vouch for it
	leapRow  = 3      // lines that agree make a leap believed
)

// here is the time of a piece that does not say its own.
func (t *timeline) here(c *chunk) time.Duration {
	if t.log.Heard {
		t.open(0)
		return c.since
	}
	return t.last
}

// place gives the time of a frame since its stretch began, opening a stretch
// where the clock starts anew. leap is not empty if the clock is so far ahead
// that the frame must be damaged.
func (t *timeline) place(p *decode.Parsed, clock float64, c *chunk) (since time.Duration, leap string) {
	if t.log.Heard {
		return t.here(c), ""
	}
	if math.IsNaN(clock) {
		return t.last, ""
	}
	if t.leaps(clock) {
		return 0, fmt.Sprintf("by %.0f s", clock-t.lastClock)
	}
	step := clock - t.lastClock
	reboot := !math.IsNaN(p.Boot) && !math.IsNaN(t.lastBoot) && p.Boot != t.lastBoot
	switch {
	case math.IsNaN(t.lastClock), reboot:
		t.begin(clock)
	case step < -reorder:
		if w, declared := turnOf(p.WrapUs*1e-6, -step, t.lastStep); w > 0 {
			t.turned += w
			t.hintTurn(w, declared)
		} else {
			t.begin(clock)
		}
	case step > 0:
		t.lastStep = step
	}
	if !math.IsNaN(p.Boot) {
		t.lastBoot = p.Boot
	}
	t.lastClock = clock
	return time.Duration(math.Round((clock+t.turned-t.start)*1e6)) * time.Microsecond, ""
}

// leaps says whether a line's clock is so far ahead that it is damaged.
func (t *timeline) leaps(clock float64) bool {
	if t.guarded || math.IsNaN(t.lastClock) || clock-t.lastClock < leapMost {
		t.leapt = 0
		return false
	}
	t.leapt++
	return t.leapt < leapRow
}

const hintsMost = 100

func (t *timeline) hintTurn(w float64, declared bool) {
	text := fmt.Sprintf("the clock starts again after %g s (frame %d); the time goes on", w, t.log.frames+1)
	if !declared {
		text = fmt.Sprintf("the clock starts again after %g s (frame %d), and the layout does not say so: "+
			"write wrap_at at its clock (that many seconds in the clock's unit) and import the log again, or a flight is cut in two there", w, t.log.frames+1)
	}
	if len(t.log.Hints) < hintsMost {
		t.log.Hints = append(t.log.Hints, text)
	}
}

// begin opens a stretch on a clock.
func (t *timeline) begin(clock float64) {
	var base time.Duration
	if n := len(t.log.Stretches); n > 0 {
		last := t.log.Stretches[n-1]
		base = last.Base + last.Length + pause
	}
	t.start, t.turned, t.last = clock, 0, 0
	t.log.Stretches = append(t.log.Stretches, Stretch{First: t.log.frames, Base: base})
}

// open makes sure that there is a stretch.
func (t *timeline) open(clock float64) {
	if len(t.log.Stretches) == 0 {
		t.begin(clock)
	}
}

// add counts a frame in.
func (t *timeline) add(since time.Duration) {
	t.log.frames++
	t.last = since
	if n := len(t.log.Stretches); n > 0 {
		s := &t.log.Stretches[n-1]
		s.Frames++
		s.Length = max(s.Length, since)
	}
}

// turnOf is the turn of a clock that fell by so much, 0 if it is none: what is
// left of the turn must be about one step. told is the layout's, 0 if it says
// nothing.
func turnOf(told, fell, step float64) (turn float64, declared bool) {
	fits := func(w float64) bool {
		left := w - fell
		return left >= 0 && left <= max(3*step, 0.2)
	}
	if told > 0 {
		if fits(told) {
			return told, true
		}
		return 0, true
	}
	for _, w := range usualTurns() {
		if fits(w) {
			return w, false
		}
	}
	return 0, false
}

// usualTurns are where clocks of 16, 24 and 32 bits in us, ms and hundredths of
// a second begin again, and the time of day; in s.
func usualTurns() []float64 {
	out := []float64{86400}
	for _, bits := range []float64{16, 24, 32} {
		for _, unit := range []float64{1e-6, 1e-3, 1e-2} {
			if w := math.Exp2(bits) * unit; w > 10 {
				out = append(out, w)
			}
		}
	}
	return out
}
