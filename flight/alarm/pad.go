package alarm

import (
	"math"

	"padlark/decode"
	"padlark/flight"
)

// padStats sums up the raw pressure in blocks while a rocket stands on the
// pad or lies on the ground. Raw, because the tracker's height has its faults
// smoothed away.
type padStats struct {
	// Of the block being filled.
	n          int
	start      float64
	sum        float64
	curv       float64 // sum of |second differences|
	curvN      int
	p1, p2     float64 // the two readings before
	step       float64 // smallest step between two unlike readings
	steps      int
	phase      flight.Phase
	block      int // completed blocks since the phase began
	noise      float64
	mean       float64
	at         float64 // middle of the last block
	coarse     float64 // smallest step seen in the last blocks, Pa
	coarseN    int     // steps it was found from
	past       [padPast]mark
	run        int // equal readings in a row
	runStart   float64
	lastP      float64
	everMoved  bool
	whenFilled bool // the sample at hand completed a block
}

// Blocks last at least blockS and hold at least blockN readings; padPast of
// them are kept, about 30 s.
const (
	blockS  = 2.0
	blockN  = 15
	padPast = 15
)

// add takes the pressure of the sample at hand.
func (p *padStats) add(v *view) {
	p.whenFilled = false
	x := v.get(decode.PressurePa)
	if math.IsNaN(x) {
		return
	}
	p.repeat(v.t, x)
	if v.phase != p.phase {
		*p = padStats{phase: v.phase, run: p.run, runStart: p.runStart, lastP: p.lastP,
			everMoved: p.everMoved, coarse: p.coarse, coarseN: p.coarseN}
	}
	if v.inFlight() {
		return
	}
	if p.n == 0 {
		p.start, p.sum, p.curv, p.curvN, p.steps, p.step = v.t, 0, 0, 0, 0, math.Inf(1)
	}
	p.n++
	p.sum += x
	if p.n >= 3 {
		p.curv += math.Abs(x - 2*p.p1 + p.p2)
		p.curvN++
	}
	if p.n >= 2 && x != p.p1 {
		p.step = math.Min(p.step, math.Abs(x-p.p1))
		p.steps++
	}
	p.p2, p.p1 = p.p1, x
	if v.t-p.start >= blockS && p.n >= blockN {
		p.fill(v.t)
	}
}

// repeat counts equal readings in a row.
func (p *padStats) repeat(t, x float64) {
	if x == p.lastP && p.run > 0 {
		p.run++
		return
	}
	if p.run > 0 {
		p.everMoved = true
	}
	p.run, p.runStart, p.lastP = 1, t, x
}

// fill completes a block. Of white noise with deviation s the second
// differences have deviation s sqrt(6), and a mean size sqrt(2/pi) of that;
// slow wander falls out of them.
func (p *padStats) fill(t float64) {
	p.mean = p.sum / float64(p.n)
	p.noise = p.curv / float64(p.curvN) / math.Sqrt(6*2/math.Pi)
	p.at = (p.start + t) / 2
	if p.steps > 0 {
		if p.coarseN == 0 || p.steps >= 3 && p.step > p.coarse {
			p.coarse = p.step
		} else {
			p.coarse = math.Min(p.coarse, p.step)
		}
		p.coarseN += p.steps
	}
	copy(p.past[1:], p.past[:padPast-1])
	p.past[0] = mark{p.at, p.mean}
	p.block++
	p.n = 0
	p.whenFilled = true
}

// perMetre is how much the pressure falls with the height at the pad, Pa/m.
func (v *view) perMetre() float64 { return v.density() * gravity }
