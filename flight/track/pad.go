package track

import "math"

// pad learns the level of the air at the pad while the rocket waits, and how
// noisy the readings are. It works on medians of one second, so a door that
// closes or a single wild reading moves nothing, and runs a two-state Kalman
// filter (level and slope) over them, so that a warming sensor or the weather
// is followed without lag. Its level is never newer than the last whole
// second, and the levels of the last seconds are kept: liftoff takes one from
// before the rocket moved.
type pad struct {
	block    [maxMedian]float64
	nBlock   int
	start    float64 // of the present block, s
	level    float64 // z, m
	slope    float64 // m/s
	p        [3]float64
	t        float64 // of level
	blocks   int
	scatter  float64 // m2, variance of the block medians about the level
	nScatter int
	fill     float64 // readings in a block, running mean
	away     int     // blocks in a row that were far from the level
	saved    [8]padLevel
	nSaved   int
	white    float64 // m2, variance of single readings from successive differences
	nWhite   int
	prevT    float64
	prevZ    float64
	havePrev bool
	unheard  bool // a silence came before the block under way
}

// padLevel is a pad level as it stood at the end of a block.
type padLevel struct{ t, level, slope, sd, white float64 }

// Tuning of the pad level. The weather moves by a few hPa per hour, which is
// 0.01 m/s at most; a sensor in the sun about as much.
const (
	blockS        = 1.0
	medianLeast   = 3 // readings: a median of fewer is no guard against a wild one
	longestBlockS = 5.0
	padSlopeQ     = 2e-7 // m2/s3: the slope wanders by 0.005 m/s in two minutes
	padLevelQ     = 1e-4 // m2/s: the level by itself 0.1 m in two minutes
	minScatter    = 0.0025
	startWhite    = 0.25 // m2: 0.5 m, until measured
	whiteMemory   = 300
	awayBlocks    = 4
)

func newPad() pad { return pad{white: startWhite, scatter: 0.04} }

// add takes one reading at rest.
func (p *pad) add(t, z float64) {
	p.learnWhite(t, z)
	if age := t - p.start; p.nBlock >= medianLeast && age >= blockS || p.nBlock > 0 && age >= longestBlockS {
		p.close(t)
	}
	if p.nBlock == 0 {
		p.start = t
	}
	if p.nBlock < maxMedian {
		p.block[p.nBlock] = z
		p.nBlock++
	}
	if p.blocks == 0 && p.nBlock <= 5 {
		var tmp [5]float64
		copy(tmp[:], p.block[:p.nBlock])
		p.level, p.t = median(tmp[:p.nBlock]), t
	}
}

// learnWhite follows the noise of single readings; a jump counts at most as
// three standard deviations.
func (p *pad) learnWhite(t, z float64) {
	if p.havePrev && t > p.prevT && t-p.prevT < 0.5 {
		d := (z - p.prevZ) * (z - p.prevZ) / 2
		if d > 9*p.white {
			d = 9 * p.white
		}
		p.nWhite = min(p.nWhite+1, whiteMemory)
		p.white += (d - p.white) / float64(p.nWhite+4)
		p.white = max(p.white, 1e-4)
	}
	p.prevT, p.prevZ, p.havePrev = t, z, true
}

// close ends a block and moves the level.
func (p *pad) close(now float64) {
	m := median(p.block[:p.nBlock])
	mid := p.start + blockS/2
	p.fill += (float64(p.nBlock) - p.fill) / 4
	fast := p.blocks < 2 || mid-p.t > 30
	p.nBlock = 0
	if fast {
		p.restart(m, mid)
		return
	}
	dt := mid - p.t
	p.t = mid
	p.level += p.slope * dt
	p.p[0] += dt*(2*p.p[1]+dt*p.p[2]) + padLevelQ*dt + padSlopeQ*dt*dt*dt/3
	p.p[1] += dt*p.p[2] + padSlopeQ*dt*dt/2
	p.p[2] += padSlopeQ * dt
	e := m - p.level
	limit := 3 * math.Sqrt(p.scatter+p.p[0])
	far := math.Abs(e) > limit+0.5
	if p.unheard && math.Abs(e) > limit {
		p.restart(m, mid) // moved meanwhile: no gust
		p.unheard = false
		return
	}
	p.unheard = false
	e = max(-limit, min(limit, e))
	p.nScatter = min(p.nScatter+1, 60)
	was := p.scatter
	p.scatter = max(minScatter, p.scatter+(e*e-p.p[0]-p.scatter)/float64(p.nScatter+2))
	// Blocks that scatter more than was thought have told less of the level: in gusts
	// it would stay where the first of them happened to be.
	if more := p.scatter / was; more > 1 {
		for i := range p.p {
			p.p[i] *= more
		}
	}
	if !far {
		p.away = 0
	} else if p.away++; p.away >= awayBlocks {
		p.restart(m, mid) // moved: carried, or set on the pad
		return
	} else {
		e = 0
	}
	s := p.p[0] + p.scatter
	k0, k1 := p.p[0]/s, p.p[1]/s
	p.level += k0 * e
	p.slope = max(-0.05, min(0.05, p.slope+k1*e))
	p.p[2] -= k1 * p.p[1]
	p.p[1] -= k0 * p.p[1]
	p.p[0] -= k0 * p.p[0]
	p.blocks++
	p.save(now)
}

// restart begins again at a level, keeping what is known of the noise.
func (p *pad) restart(level, t float64) {
	p.level, p.slope, p.t = level, 0, t
	p.p = [3]float64{p.scatter, 0, 1e-4}
	p.away = 0
	p.blocks++
	p.save(t + blockS/2)
}

func (p *pad) save(t float64) {
	copy(p.saved[1:], p.saved[:len(p.saved)-1])
	p.saved[0] = padLevel{t, p.level + p.slope*(t-p.t), p.slope, math.Sqrt(p.p[0]), p.white}
	p.nSaved = min(p.nSaved+1, len(p.saved))
}

// before is the level that holds at time t, from blocks that ended before it.
// ok is false if there is none yet.
func (p *pad) before(t float64) (padLevel, bool) {
	for _, s := range p.saved[:p.nSaved] {
		if s.t <= t {
			s.level += s.slope * min(t-s.t, 5)
			return s, true
		}
	}
	return padLevel{t: t, level: p.level, sd: math.Sqrt(p.white), white: p.white}, false
}

// gusts is the variance in m2 of what the wind adds to the readings: what the
// block medians scatter by beyond the noise of their readings. Blocks of one
// second keep four fifths of gusts of the usual length. A few blocks know
// little: they are mixed with a guess. Step is the sensor's, in m: medians of
// a coarse sensor hide gusts smaller than it.
func (p *pad) gusts(guess, step float64) float64 {
	own := p.scatter - math.Pi/2*p.white/max(p.fill, 1)
	n := float64(p.nScatter)
	g := (n*max(own, 0)/0.8 + guessWeight*guess) / (n + guessWeight)
	return max(1e-4, g, step*step/16)
}

// What is assumed of the gusts before they are measured (common practice, no
// source), as sure as four blocks would be: for the filter what is usual, for
// the liftoff what is bad.
const (
	usualGust   = 0.0225 // m2
	badGust     = 1.0    // m2
	guessWeight = 4
)

// relearnS is after how long a silence on the ground the pad is learnt anew: the
// weather, a warming sensor or a person may have moved it by then.
const relearnS = 30.0

// relearn begins anew on the ground. What was heard before is no pad for what
// comes now, so that no liftoff is made of the difference.
func (t *Tracker) relearn() {
	if t.col.plain {
		t.pad = newPad()
	} else {
		t.pad.forget()
	}
	t.hist.clear()
}

// forget drops the saved levels and the block under way, after a flight.
func (p *pad) forget() {
	old := *p
	*p = newPad()
	p.white, p.nWhite, p.scatter, p.nScatter = old.white, old.nWhite, old.scatter, old.nScatter
}
