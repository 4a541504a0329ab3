package ensemble

import (
	"math"
	"math/rand/v2"
)

// board is the rocket's electronics: when it measures and what it sends
// beside the pressure. Times in s since the epoch.
type board struct {
	rocket   string // the name its frames are filed under
	rate     float64
	phase    float64 // of the sampling grid, s
	jitter   float64 // rms of the sampling moments
	stamp    float64 // rms error of a sample's At
	hold     float64 // rate at which the sensor makes a new value; 0 each time
	skew     float64 // the clock runs fast by this part
	clock0   float64 // device time at the epoch, s
	boot     uint32
	reboots  []reboot
	rates    []rateChange
	jumps    []clockJump
	restUs   float64
	openUs   float64
	servoAt  float64 // the servo goes to open; +Inf never
	closeAt  float64 // and back to rest after the landing; +Inf never
	twitches []twitch
	armS     float64 // from liftoff until the apogee rule is armed
	armAt    float64 // when that is; +Inf never
	gps      bool
	gpsAlt   bool        // the receiver's height as well
	axes     bool        // three axes of an accelerometer
	bare     bool        // sends clock and height only
	altStepM float64     // sends metres, in such steps; 0 for Pa
	leaps    []clockJump // of clock and stamps
	walkMps  float64     // it leaves the flight's own drift at this speed
	walkFrom float64
}

type reboot struct{ at, gapS float64 }
type rateChange struct{ from, rate float64 }
type clockJump struct{ at, byS float64 }

// twitch is a stretch in which the servo is told another pulse.
type twitch struct {
	span
	us float64
}

// timing walks through a board's sampling moments.
type timing struct {
	board
	rng    *rand.Rand
	grid   float64 // the next moment on the grid
	seq    int64
	boots  uint32
	bootAt float64 // epoch time of the last start; -clock0 at first
	nextRe int
}

// shot is one sampling moment.
type shot struct {
	t     float64 // true time, s since the epoch
	stamp float64 // what the time stamp says, s since the epoch
	seq   int64
	clock int64 // us, device time
	boot  uint32
}

func newTiming(b board, rng *rand.Rand) *timing {
	return &timing{board: b, rng: rng, grid: b.phase, boots: b.boot, bootAt: -b.clock0}
}

// next is the next moment at which the board measures.
func (w *timing) next() shot {
	if w.nextRe < len(w.reboots) && w.grid >= w.reboots[w.nextRe].at {
		r := w.reboots[w.nextRe]
		w.nextRe++
		w.boots++
		w.seq = 0
		w.bootAt = r.at + r.gapS*0.8
		w.grid = r.at + r.gapS
	}
	rate := w.rate
	for _, c := range w.rates {
		if w.grid >= c.from {
			rate = c.rate
		}
	}
	t := w.grid
	if w.jitter > 0 {
		t += min(max(w.rng.NormFloat64()*w.jitter, -0.4/rate), 0.4/rate)
	}
	s := shot{t: t, stamp: t, seq: w.seq, boot: w.boots}
	if w.stamp > 0 {
		s.stamp += w.rng.NormFloat64() * w.stamp
	}
	// Boards count whole milliseconds.
	s.stamp = math.Round(s.stamp*1e3) / 1e3
	clock := (t - w.bootAt) * (1 + w.skew)
	for _, j := range w.leaps {
		if t >= j.at {
			clock += j.byS
			s.stamp += j.byS
		}
	}
	for _, j := range w.jumps {
		if t >= j.at {
			clock += j.byS
		}
	}
	s.clock = int64(math.Floor(clock*1e3)) * 1e3
	w.seq++
	w.grid += 1 / rate
	return s
}

// pulse is what the servo is told at t, in us, and whether the board has
// commanded the release.
func (b *board) pulse(t float64) (us float64, on bool) {
	us, on = b.restUs, t >= b.servoAt
	if on && t < b.closeAt {
		us = b.openUs
	}
	for _, w := range b.twitches {
		if w.has(t) {
			us = w.us
		}
	}
	return us, on
}

// moves says whether the servo is turning at t, which loads the cell.
func (b *board) moves(t float64) bool {
	if t >= b.servoAt && t < b.servoAt+servoTurnS || t >= b.closeAt && t < b.closeAt+servoTurnS {
		return true
	}
	for _, w := range b.twitches {
		if t >= w.from && t < w.from+servoTurnS || t >= w.to && t < w.to+servoTurnS {
			return true
		}
	}
	return false
}

// servoTurnS is how long a small servo turns under load, in s (common
// practice: 0.1 s per 60 degrees, no source).
const servoTurnS = 0.35

// power is the cell.
type power struct {
	volts     float64 // at the epoch, at rest
	fallVph   float64 // per hour
	sagV      float64 // while the servo turns
	recoverS  float64 // time constant of the recovery
	stallFrom float64 // the servo draws current from here on without end
	stallV    float64
	dropFrom  float64 // the cell collapses from here on
	dropVps   float64
	floorV    float64
}

// at is the cell's voltage at t, without noise.
func (p *power) at(t float64, b *board) float64 {
	v := p.volts - p.fallVph*t/3600
	if b.moves(t) {
		v -= p.sagV
	} else if since := t - b.servoAt - servoTurnS; since >= 0 && since < 8*p.recoverS {
		v -= 0.5 * p.sagV * math.Exp(-since/p.recoverS)
	}
	if t >= p.stallFrom {
		// A stalled servo pulls in pulses: two thirds of the time, five
		// times a second.
		if math.Mod(t-p.stallFrom, 0.2) < 0.133 {
			v -= p.stallV
		}
	}
	if t > p.dropFrom {
		v = max(v-p.dropVps*(t-p.dropFrom), min(v, p.floorV))
	}
	return v
}
