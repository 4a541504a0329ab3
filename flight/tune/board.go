package tune

import "padlark/flight/atmos"

// Cause is why a board released.
type Cause uint8

// The causes. The numbers are those in the C code.
const (
	notYet   Cause = 0
	ByRule   Cause = 1
	byBackup Cause = 2
)

// Readings outside of these are no air that a hobby rocket meets, in dPa: the
// board takes the one before instead.
const (
	minDPa = 100000
	maxDPa = 1200000
)

// Board is one rule at work on one flight. The zero value is of no use; make
// one with newBoard, or set an old one back with Start.
//
// The C code of deploy/firmware has the same fields and does the same with
// them, in the same order. A change here is a change there.
type Board struct {
	s Settings

	begun    bool  // a reading has come
	a, b     int32 // the two readings before, dPa
	pad      int32 // pressure at the pad, dPa times 16
	settle   uint8 // how far PadShift has been reached
	settling uint16

	armed   bool
	arming  uint8  // readings in a row above ArmCm
	armedMs uint32 // when it was armed

	x, v  int32 // filter; see each family
	top   int32 // the highest, cm
	count uint8 // readings in a row for which the condition held
}

// newBoard is a board that has just been switched on. The settings must be
// valid.
func newBoard(s Settings) Board { return Board{s: s} }

// Start sets the board back to when it was switched on, with other settings.
func (o *Board) Start(s *Settings) { *o = Board{s: *s} }

// Armed says whether the rule is armed, and since when by the board's clock.
func (o *Board) Armed() (ms uint32, ok bool) { return o.armedMs, o.armed }

// Step takes one reading: the board's clock in ms, which may wrap, and the
// pressure in dPa. It says whether to release now. It must not be called again
// once it has.
//
// Bounds, from the limits of Settings and of a reading: the difference of two
// pressures is at most 1.1e6, times the slope 2.09e9; heights are kept within
// -1e5 and 6e5 cm before the second term and below 7.8e5 cm after it, times
// 256 below 2.0e8; the filters' states stay below 6e8, since no filter here
// answers with more than three times what it is given. 2^31 is 2.147e9.
func (o *Board) Step(ms uint32, dPa int32) Cause {
	p := o.reading(dPa)
	h := o.height(p)
	if o.s.Family != Drop || o.s.Shift > 0 {
		h = o.filter(h)
	}
	if !o.armed {
		o.wait(ms, p)
		if !o.armed {
			return notYet
		}
	}
	since := ms - o.armedMs
	if since < o.s.LockoutMs {
		o.top, o.count = h, 0
		return notYet
	}
	if o.holds(h) {
		if o.count < o.s.Samples {
			o.count++
		}
		if o.count >= o.s.Samples {
			return ByRule
		}
	} else {
		o.count = 0
	}
	if o.s.BackupMs > 0 && since >= o.s.BackupMs {
		return byBackup
	}
	return notYet
}

// reading is the pressure to go on with, in dPa.
func (o *Board) reading(p int32) int32 {
	if p < minDPa || p > maxDPa {
		p = o.b
		if !o.begun {
			p = 10 * atmos.StandardPressure // nothing better is known
		}
	}
	if !o.begun {
		o.begun = true
		o.a, o.b = p, p
		o.pad = p * 16
	}
	a, b := o.a, o.b
	o.a, o.b = b, p
	if !o.s.Median {
		return p
	}
	if a > b {
		a, b = b, a
	}
	if p < a {
		return a
	}
	return min(p, b)
}

// height is that above the pad in cm, of a pressure in dPa: linear, and a
// second term that is right for 15 degrees Celsius.
func (o *Board) height(p int32) int32 {
	x := ((o.pad+8)>>4 - p) * o.s.SlopeQ10 >> 10
	x = min(max(x, -100000), 600000)
	if x > 0 {
		q := x >> 4
		x += q * q >> 13
	}
	return x
}

// rounded is x / 2^k to the nearest whole number, halves upwards.
func rounded(x int32, k uint8) int32 {
	if k == 0 {
		return x
	}
	return (x + 1<<(k-1)) >> k
}

// filter takes a height in cm and gives what the family compares: Drop the
// smoothed height in cm, the others a measure of the speed.
func (o *Board) filter(h int32) int32 {
	k := o.s.Shift
	h *= 256
	switch o.s.Family {
	case Drop:
		// x is the smoothed height.
		o.x += rounded(h-o.x, k)
		return rounded(o.x, 8)
	case Slope:
		// x is the smoothed height, v its smoothed distance to the height.
		o.x += rounded(h-o.x, k)
		o.v += rounded(h-o.x-o.v, k)
	case AlphaBeta:
		// x is the height, v the rise from reading to reading.
		o.x += o.v
		r := h - o.x
		o.x += rounded(r, k)
		o.v += rounded(r, 2*k+1)
	}
	return o.v
}

// wait is the pad: it follows the pressure and looks for the arming height.
func (o *Board) wait(ms uint32, p int32) {
	if o.height(p) >= o.s.ArmCm {
		o.arming++
	} else {
		o.arming = 0
	}
	if o.arming >= o.s.ArmSamples {
		o.armed = true
		o.armedMs = ms
		o.top = -200000 // below all
		return
	}
	o.pad += rounded(p*16-o.pad, o.settle)
	if o.settle < o.s.PadShift {
		o.settling++
		if o.settling == 1<<o.settle {
			o.settling = 0
			o.settle++
		}
	}
}

// holds says whether the family's condition holds for what filter gave.
func (o *Board) holds(h int32) bool {
	if o.s.Family != Drop {
		return h <= 0
	}
	if h > o.top {
		o.top = h
	}
	return o.top-h >= o.s.DropCm
}
