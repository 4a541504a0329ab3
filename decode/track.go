package decode

import "math"

// track follows one boot of one board on one link: it unwraps sequence and
// clock and tells whether a frame belongs to it.
type track struct {
	boot    uint32
	rawBoot float64 // as sent; NaN if the board sends none
	heard   int64   // when it was last heard, ns of monotonic time, wire time off
	pending bool    // waits for a second frame before it is believed
	frames  int     // accepted so far
	gap     int64   // usual time between two of them, ns

	// See senders.go.
	begun  int64 // when it began, ns of monotonic time
	sender int   // 0 is the first under the rocket's id, maxSenders one too many
	back   int   // frames since another boot was taken for the next one

	seq     int64 // the highest, unwrapped; -1 before the first
	seqBase int64 // added to the raw value
	period  float64

	clock int64 // the highest, us, unwrapped; -1 before the first
	cmap  clockMap
}

// place is where a frame would be on a track.
type place struct {
	seq   int64
	step  int64 // seq less the highest before
	clock int64 // us
	base  int64 // the new seqBase
}

const (
	reorderUs   = 500e3 // a frame may be this much older than the newest and just be late
	reorderSeq  = 32
	aheadUs     = 2e6 // a clock may be this far ahead of what was expected
	aheadPart   = 1e-3
	contiguous  = 8 // frames
	lateNs      = int64(5e9)
	maxRateHz   = 1000.0 // no board sends faster
	reorderedNs = 2e9
	seqSlack    = 50.0
)

// fits says whether a frame belongs to the track, and where. It does not
// change the track.
//
// A clock that fell back by more than half a second says reboot. So does a
// clock that is well behind what it should be by now, if the board could have
// started since it was last heard and the sequence does not go on: it was
// restarted while out of hearing. A clock that is behind otherwise is a frame
// that was held back. Without a clock the sequence says it: falling back
// further than frames are ever late, or ahead by more than could have been
// sent.
func (t *track) fits(p *Program, m *ident, mono int64) (place, bool) {
	at := place{seq: -1, clock: -1, base: t.seqBase}
	if !math.IsNaN(m.boot) && !math.IsNaN(t.rawBoot) && m.boot != t.rawBoot {
		return at, false
	}
	timed := !math.IsNaN(m.clock) && t.clock >= 0
	moved := float64(mono - t.heard) // ns since the newest frame
	if timed {
		at.clock = t.unwrapClock(p, m.clock, mono)
		moved = float64(at.clock-t.clock) * 1e3
	} else if !math.IsNaN(m.clock) {
		at.clock = clockUs(p, m.clock)
	}
	ok := true
	if !math.IsNaN(m.seq) {
		ok = t.placeSeq(p, int64(m.seq), moved, timed, &at)
	}
	if timed {
		// The clock decides. Only where no checksum protects the frame must the
		// sequence be credible too.
		ok = t.clockFits(at, mono) && (ok || p.guarded())
	}
	return at, ok
}

// clockFits judges by the clock.
func (t *track) clockFits(at place, mono int64) bool {
	elapsedUs := float64(mono-t.heard) / 1e3
	behind := t.cmap.deviceAt(mono) - float64(at.clock)
	tolerance := aheadUs + aheadPart*math.Abs(elapsedUs)
	switch {
	case at.clock < t.clock-reorderUs, behind < -tolerance:
		return false
	case behind > tolerance && float64(at.clock) < elapsedUs:
		return at.seq >= 0 && at.step >= 0 && at.step <= contiguous
	}
	return true
}

// unwrapClock adds the turns that bring a raw clock closest to what the board's
// clock should read by now.
func (t *track) unwrapClock(p *Program, raw float64, mono int64) int64 {
	if w := p.clock.wrap; w > 0 {
		expected := p.clock.conv.invert(t.cmap.deviceAt(mono))
		raw += w * math.Round((expected-raw)/w)
		if raw < 0 {
			raw += w * math.Ceil(-raw/w)
		}
	}
	return clockUs(p, raw)
}

// clockUs is a raw clock in us.
func clockUs(p *Program, raw float64) int64 {
	us := p.clock.conv.apply(raw)
	// 9e15 us are 285 years; beyond that a float is not exact either.
	return int64(math.Round(min(max(us, 0), 9e15)))
}

// placeSeq unwraps a raw sequence number. movedNs is how much time went by
// since the newest frame, by the device's clock if timed. It says whether the
// number alone would fit.
func (t *track) placeSeq(p *Program, raw int64, movedNs float64, timed bool, at *place) bool {
	if t.seq < 0 {
		at.seq, at.step = raw, 0
		return true
	}
	w := int64(p.seq.wrap)
	step := raw + t.seqBase - t.seq
	if w > 0 {
		step = modulo(step, w)
		if step > w/2 {
			step -= w
		}
	}
	late := step <= 0 && step >= -reorderSeq && (movedNs <= 0 || !timed) &&
		float64(-step)*t.period < reorderedNs
	switch {
	case late:
	case w > 0:
		if step <= 0 {
			step += w
		}
		step += w * t.turns(step, w, movedNs)
	case step <= 0 && timed && movedNs > 0:
		// The clock went on and the sequence began again, at a number that
		// nobody declared.
		at.base = t.seq + 1 - raw
		step = 1
	}
	at.seq, at.step = t.seq+step, step
	plausible := seqSlack + math.Max(movedNs, 0)*1e-9*maxRateHz
	return late || step > 0 && float64(step) <= plausible
}

// turns is how many whole turns a short counter made in a long silence, by the
// board's rate.
func (t *track) turns(step, w int64, movedNs float64) int64 {
	if t.period <= 0 || movedNs <= 0 {
		return 0
	}
	expected := movedNs / t.period
	return int64(max(0, math.Round((expected-float64(step))/float64(w))))
}

func modulo(a, w int64) int64 {
	a %= w
	if a < 0 {
		a += w
	}
	return a
}

// accept moves the track on to a frame that fits. It gives the number of
// frames missed just before it.
func (t *track) accept(at place, mono int64) (missed int64) {
	movedNs := float64(mono - t.heard)
	if step := mono - t.heard; t.frames == 1 {
		t.gap = step
	} else if t.frames > 1 {
		t.gap += (min(step, 2*t.gap+int64(1e6)) - t.gap) / 8
	}
	t.frames++
	if at.clock >= 0 {
		if t.clock < 0 {
			t.cmap = newClockMap(at.clock, mono, nil)
		} else {
			movedNs = float64(at.clock-t.clock) * 1e3
		}
		t.cmap.observe(at.clock, mono)
		t.clock = max(t.clock, at.clock)
	}
	t.heard = max(t.heard, mono)
	if at.seq < 0 {
		return 0
	}
	t.seqBase = at.base
	if t.seq < 0 {
		t.seq = at.seq
		return 0
	}
	step := at.seq - t.seq
	if step > 0 {
		if step <= contiguous && movedNs > 0 {
			t.learnPeriod(movedNs / float64(step))
		}
		t.seq = at.seq
		return step - 1
	}
	return 0
}

// learnPeriod follows the time between frames, in ns.
func (t *track) learnPeriod(ns float64) {
	if t.period == 0 {
		t.period = ns
		return
	}
	t.period += (ns - t.period) / 16
}
