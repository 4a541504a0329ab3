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
	lastSeq   float64
	lastStep  float64
	usual     float64 // s between lines, running mean; 0 until known
	turned    float64 // s added because the clock began again or was set
	start     float64 // clock at the stretch's start, s
}

const (
	reorder   = 0.5  // s that a line may be older than the one before
	holdMost  = 0.5  // s that an unprotected clock may go on by and be believed by itself
	holdSteps = 5    // or so many usual steps
	agreeS    = 10.0 // s between two lines that vouch for each other
	// or so many times the pause before the first of them, of a board that seldom sends
	alikePauses = 3.0
	seldomS     = 120.0  // s, the longest pause of such a board
	tellMost    = 3600.0 // s of a pause that a person wants to know of

	// A clock that counts from the board's start stays far below what one that
	// is set to the time of day and year shows: 1e8 s are three years of running,
	// 3e8 s are 1979 in Unix time and in that of GPS 1989.
	countsBelow, setAbove = 1e8, 3e8
	// No board waits so long between two lines of one log.
	leapMost = 366 * 86400.0
)

// here is the time of a piece that does not say its own.
func (t *timeline) here(c *chunk) time.Duration {
	if t.log.Heard {
		t.open(0)
		return c.since
	}
	return t.last
}

// mark is what a line says of its place in time: its clock in s and its boot,
// NaN where it does not.
type mark struct{ clock, boot, seq float64 }

// doubtful says that a line's clock does not follow on and nothing protects it:
// the next line must tell whether a digit is wrong.
func (t *timeline) doubtful(m mark) bool {
	return !t.guarded && !t.log.Heard && !math.IsNaN(m.clock) && !t.follows(m)
}

// first says that no line has been placed yet.
func (t *timeline) first() bool { return math.IsNaN(t.lastClock) }

// follows says whether a line goes on where the one before it was.
func (t *timeline) follows(m mark) bool {
	step := m.clock - t.lastClock
	return step >= -reorder && step <= t.hold() && !t.rebooted(m)
}

func (t *timeline) hold() float64 { return max(holdMost, holdSteps*t.usual) }

func (t *timeline) rebooted(m mark) bool {
	return !math.IsNaN(m.boot) && !math.IsNaN(t.lastBoot) && m.boot != t.lastBoot
}

// vouches says whether the next line agrees with a doubtful one: it comes soon
// after it, or after a pause like that before it, as of a board that seldom
// sends.
func (t *timeline) vouches(doubtful, next mark) bool {
	if t.follows(next) || !math.IsNaN(next.boot) && !math.IsNaN(doubtful.boot) && next.boot != doubtful.boot {
		return false
	}
	most := max(agreeS, t.hold())
	if before := doubtful.clock - t.lastClock; before > 0 && before < seldomS {
		most = max(most, alikePauses*before)
	} else if t.first() {
		most = tellMost // how often it sends is not known yet
	}
	step := next.clock - doubtful.clock
	return step >= -reorder && step <= most
}

// off says how far a clock is from that of the line before, for a person.
func (t *timeline) off(m mark) string {
	if t.rebooted(m) {
		return fmt.Sprintf("another start of the board, %.0f", m.boot)
	}
	return fmt.Sprintf("by %+.4g s", m.clock-t.lastClock)
}

// place gives the time of a believed frame since its stretch began, opening a
// stretch where the clock starts anew.
func (t *timeline) place(p *decode.Parsed, m mark, c *chunk) (since time.Duration) {
	if t.log.Heard {
		return t.here(c)
	}
	if math.IsNaN(m.clock) {
		return t.last
	}
	step := m.clock - t.lastClock
	switch {
	case math.IsNaN(t.lastClock), t.rebooted(m):
		t.begin(m.clock)
	case step < -reorder:
		if w, declared := turnOf(p.WrapUs*1e-6, -step, t.lastStep); w > 0 {
			t.turned += w
			t.hintTurn(w, declared)
		} else {
			t.begin(m.clock)
		}
	case step > 0:
		t.forward(m, step)
	}
	if !math.IsNaN(m.boot) {
		t.lastBoot = m.boot
	}
	t.lastClock, t.lastSeq = m.clock, m.seq
	return time.Duration(math.Round((m.clock+t.turned-t.start)*1e6)) * time.Microsecond
}

// forward takes a step of the clock. One by which the clock was set, as by a
// first GPS fix, is no time that went by.
func (t *timeline) forward(m mark, step float64) {
	goesOn := m.seq == t.lastSeq+1 && step > tellMost
	if step > leapMost || t.lastClock < countsBelow && m.clock > setAbove || goesOn {
		t.turned -= step - t.usual
		t.hint("the clock leaps from %.3f s to %.3f s (frame %d): it was set; the time goes on with the usual step of %.3g s",
			t.lastClock, m.clock, t.log.frames+1, t.usual)
		return
	}
	if step > tellMost {
		t.hint("nothing was logged for %s before frame %d", pauseWords(step), t.log.frames+1)
	}
	t.lastStep = step
	switch {
	case t.usual == 0:
		t.usual = step
	case step <= t.hold():
		t.usual += (step - t.usual) / 16
	}
}

// pauseWords says a pause in words that a person counts in.
func pauseWords(s float64) string {
	if s < 2*86400 {
		return fmt.Sprintf("%.0f h %.0f min", math.Floor(s/3600), math.Floor(math.Mod(s, 3600)/60))
	}
	return fmt.Sprintf("%.0f days", s/86400)
}

func (t *timeline) hint(format string, args ...any) {
	if len(t.log.Hints) < hintsMost {
		t.log.Hints = append(t.log.Hints, fmt.Sprintf(format, args...))
	}
}

const hintsMost = 100

func (t *timeline) hintTurn(w float64, declared bool) {
	if declared {
		t.hint("the clock starts again after %g s (frame %d); the time goes on", w, t.log.frames+1)
		return
	}
	t.hint("the clock starts again after %g s (frame %d), and the layout does not say so: "+
		"write wrap_at at its clock (that many seconds in the clock's unit) and import the log again, or a flight is cut in two there", w, t.log.frames+1)
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
