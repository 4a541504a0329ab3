package alarm

import (
	"math"
	"slices"

	"padlark/decode"
	"padlark/flight"
)

// padStats sums up the raw pressure in blocks, each within one phase. Raw,
// because the tracker's height has its faults smoothed away, and starts from
// zero again after a landing.
type padStats struct {
	// Of the block being filled.
	n          int
	start      float64
	level      reservoir // of the readings
	curv       reservoir // of the sizes of their second differences
	p1, p2     float64   // the two readings before
	step       float64   // smallest step between two unlike readings
	steps      int
	phase      flight.Phase
	block      int     // completed blocks since the phase began
	padLevel   float64 // median before the last liftoff, Pa; 0 if unknown
	noise      float64
	mean       float64 // the median, which an outlier does not move
	at         float64 // middle of the last block
	coarse     float64 // smallest step seen in the last blocks, Pa
	coarseN    int     // steps it was found from
	coarser    float64 // Pa, step of the last block that told one
	filled     int     // readings of the last block
	past       [padPast]mark
	run        int // equal readings in a row
	runStart   float64
	lastP      float64
	everMoved  bool
	moves      int     // runs that ended
	longest    float64 // of them, s
	whenFilled bool    // the sample at hand completed a block
}

// Blocks last at least blockS and hold at least blockN readings; padPast of
// them are kept, about 30 s.
const (
	blockS  = 2.0
	blockN  = 15
	padPast = 15
)

// coarseSteps is from how many unlike neighbours on the step of a sensor can
// be told: outliers make a few.
const coarseSteps = 8

// add takes the pressure of the sample at hand.
func (p *padStats) add(v *view) {
	p.whenFilled = false
	x := v.get(decode.PressurePa)
	if math.IsNaN(x) {
		return
	}
	p.repeat(v.t, x)
	if v.anew == v.t { // what was heard before says nothing of this level
		p.n, p.block, p.padLevel = 0, 0, 0
	}
	if v.phase != p.phase {
		if p.phase == flight.Waiting && p.block > 1 {
			p.padLevel = p.past[1].v // the newest may have the liftoff in it
		}
		p.phase, p.n, p.block = v.phase, 0, 0
	}
	if p.n == 0 {
		p.start, p.steps, p.step = v.t, 0, math.Inf(1)
		p.level.clear()
		p.curv.clear()
	}
	p.n++
	p.level.add(x)
	if p.n >= 3 {
		p.curv.add(math.Abs(x - 2*p.p1 + p.p2))
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
		p.moves++
		p.longest = math.Max(p.longest, t-p.runStart)
	}
	p.run, p.runStart, p.lastP = 1, t, x
}

// fill completes a block. Of white noise with deviation s the second
// differences have deviation s sqrt(6), and a median size 0.6745 of that; slow
// wander falls out of them. Medians, because outliers and short blows must not
// count.
func (p *padStats) fill(t float64) {
	p.mean = p.level.median()
	p.noise = p.curv.median() / (0.6745 * math.Sqrt(6))
	p.at = (p.start + t) / 2
	p.filled = p.n
	if p.steps > 0 {
		switch {
		case p.coarseN == 0 || p.step < p.coarse:
			p.coarse = p.step
		case p.steps >= coarseSteps: // one block alone may be the first seconds of a flight
			p.coarse = math.Max(p.coarse, math.Min(p.step, p.coarser))
		}
		if p.steps >= coarseSteps {
			p.coarser = p.step
		}
		if p.coarseN == 0 {
			p.steps = min(p.steps, coarseSteps-1) // two blocks at the least
		}
		p.coarseN += p.steps
	}
	copy(p.past[1:], p.past[:padPast-1])
	p.past[0] = mark{p.at, p.mean}
	p.block++
	p.n = 0
	p.whenFilled = true
}

// leaves says whether the last two blocks differ by more than so many metres: then it
// may be leaving, also with a vent that reads low at speed, and says nothing of the pad.
func (p *padStats) leaves(v *view, metres float64) bool {
	return p.block > 1 && math.Abs(p.past[0].v-p.past[1].v) > metres*v.perMetre()
}

// reservoir keeps an even choice of the values of a block for their median.
type reservoir struct {
	v      [reservoirSize]float64
	n      int // kept
	stride int // each so many are kept
	skip   int
}

// reservoirSize bounds what a reservoir keeps; when it is full every other
// value goes and from then on half as many are taken.
const reservoirSize = 64

func (r *reservoir) clear() { r.n, r.stride, r.skip = 0, 1, 0 }

func (r *reservoir) add(x float64) {
	if r.skip++; r.skip < r.stride {
		return
	}
	r.skip = 0
	if r.n == reservoirSize {
		for i := range reservoirSize / 2 {
			r.v[i] = r.v[2*i]
		}
		r.n, r.stride = reservoirSize/2, 2*r.stride
	}
	r.v[r.n] = x
	r.n++
}

// median sorts what is kept; the reservoir must be cleared after it.
func (r *reservoir) median() float64 {
	if r.n == 0 {
		return math.NaN()
	}
	s := r.v[:r.n]
	slices.Sort(s)
	return (s[(r.n-1)/2] + s[r.n/2]) / 2
}

// perMetre is how much the pressure falls with the height at the pad, Pa/m.
func (v *view) perMetre() float64 { return v.density() * gravity }
