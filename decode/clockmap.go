package decode

import "math"

// clockMap relates one board's clock to ground time, for one boot on one link.
//
// Every frame gives one number: heard - wire time - clock. It is the constant
// offset between the two clocks, plus skew times clock, plus how long the
// frame waited on its way. Waiting only ever adds, so the line of offset and
// skew is the lower envelope of these points. Among the lines that lie below
// all points we take the one closest to them in the sum of distances: this is
// the linear programme of Moon, Skelly and Towsley, "Estimation and removal of
// clock skew from network delay measurements" (INFOCOM 1999; method from
// memory). Its answer is the edge of the lower convex hull above the mean of
// the clock values.
//
// The shortest delay that a frame can have (board and radio) cannot be told
// from the offset: `at` is late by it, and the same for all frames of a link.
//
// Memory is bounded: time is cut into at most maxBuckets buckets, of which
// only the lowest point is kept. When they are used up, neighbours are joined
// and the width doubles; from maxWidth on the oldest is dropped instead, so
// that slow changes of the skew with temperature are followed.
type clockMap struct {
	clock0 int64 // us, at the first frame
	mono0  int64 // ns

	buckets []bucket
	width   float64 // s

	slope, offset    float64 // the envelope: y = offset + slope*x
	slopeLo, slopeHi float64

	// held says that frames come faster than their clock runs: a link or a
	// player lets go of what it held back. winX and winS begin the stretch, in
	// s of device and of ground time, over which this is judged.
	held       bool
	winX, winS float64

	usedX, usedY float64 // the applied correction, which only slews
	hull         []int
	fresh        bool
}

// bucket holds the lowest point of a stretch of device time, in s.
type bucket struct {
	index      int64
	n          float64
	sumX       float64
	minX, minY float64
}

const (
	maxBuckets = 128
	firstWidth = 0.25   // s
	maxWidth   = 8.0    // s
	maxSkew    = 600e-6 // a crystal's skew, assumed until the span tells more
	// resonatorSkew allows for boards that run on a ceramic resonator or the
	// processor's own oscillator.
	resonatorSkew = 0.03
	priorSkew     = 50e-6 // how far a board's skew may be from what it was before its reboot
	youngAge      = 20.0  // s of device time
	youngSlew     = 0.03  // s per s, just after the board started
	steadySlew    = 0.001 // s per s: a thousandth of any speed, below what matters
	urgentSlew    = 0.5
	urgentAfter   = 10.0 // s in which a large correction may be made
	skewKnown     = 20.0 // s of span after which the skew is worth passing on
	heldWindow    = 0.5  // s of device time over which the pace is judged
	heldPace      = 0.7  // ground time per device time below which frames were held back
)

// newClockMap starts a map at a board's first frame. before is the map of the
// board's boot before this one, or nil: the crystal is the same.
func newClockMap(clockUs, monoNs int64, before *clockMap) clockMap {
	m := clockMap{
		clock0: clockUs, mono0: monoNs, width: firstWidth,
		slopeLo: -maxSkew, slopeHi: maxSkew,
		fresh: true, // its buckets come as they are needed: a forger's boards begin with each frame
	}
	if before != nil && before.span() > skewKnown {
		m.slope = before.slope
		m.slopeLo = max(-maxSkew, before.slope-priorSkew)
		m.slopeHi = min(maxSkew, before.slope+priorSkew)
	}
	return m
}

func (m *clockMap) span() float64 {
	if len(m.buckets) == 0 {
		return 0
	}
	return m.buckets[len(m.buckets)-1].minX - m.buckets[0].minX
}

// observe takes in that clockUs was on a frame whose first byte came at
// monoNs.
func (m *clockMap) observe(clockUs, monoNs int64) {
	x := float64(clockUs-m.clock0) * 1e-6
	y := float64(monoNs-m.mono0)*1e-9 - x
	m.judgePace(x, float64(monoNs-m.mono0)*1e-9)
	i := int64(math.Floor(x / m.width))
	n := len(m.buckets)
	switch {
	case n == 0 || i > m.buckets[n-1].index:
		m.buckets = append(m.buckets, bucket{i, 1, x, x, y})
		m.compact()
	case i < m.buckets[n-1].index:
		return // late; its neighbours have said what there was to say
	default:
		b := &m.buckets[n-1]
		b.n++
		b.sumX += x
		if y-m.slope*x >= b.minY-m.slope*b.minX {
			return // not lower: the envelope stays
		}
		b.minX, b.minY = x, y
	}
	m.fit()
}

// judgePace notes whether frames come faster than their clock runs. Such
// frames say nothing about skew.
func (m *clockMap) judgePace(x, s float64) {
	if x-m.winX < heldWindow {
		return
	}
	m.held = s-m.winS < heldPace*(x-m.winX)
	m.winX, m.winS = x, s
	if m.held && m.span() < skewKnown {
		m.slope = (m.slopeLo + m.slopeHi) / 2 // what was learnt was the link's pace
	}
}

// compact makes room for the next bucket.
func (m *clockMap) compact() {
	if len(m.buckets) <= maxBuckets {
		return
	}
	if m.width >= maxWidth {
		m.buckets = append(m.buckets[:0], m.buckets[1:]...)
		return
	}
	m.width *= 2
	out := m.buckets[:0]
	for _, b := range m.buckets {
		// Go's shift rounds down, as the floor in observe does.
		b.index >>= 1
		if n := len(out); n > 0 && out[n-1].index == b.index {
			out[n-1] = m.join(out[n-1], b)
			continue
		}
		out = append(out, b)
	}
	m.buckets = out
}

func (m *clockMap) join(a, b bucket) bucket {
	if b.minY-m.slope*b.minX < a.minY-m.slope*a.minX {
		a.minX, a.minY = b.minX, b.minY
	}
	a.n += b.n
	a.sumX += b.sumX
	return a
}

// fit finds the line below all points that is closest to them.
func (m *clockMap) fit() {
	var n, sum float64
	m.hull = m.hull[:0]
	for i, b := range m.buckets {
		n += b.n
		sum += b.sumX
		for k := len(m.hull); k >= 2 && m.above(m.hull[k-2], m.hull[k-1], i); k-- {
			m.hull = m.hull[:k-1]
		}
		m.hull = append(m.hull, i)
	}
	if len(m.hull) > 1 && !m.held {
		m.slope = m.edgeSlope(sum / n)
	}
	lo, hi := m.slopeLo, m.slopeHi
	if m.span() > skewKnown {
		lo, hi = -resonatorSkew, resonatorSkew
	}
	m.slope = min(max(m.slope, lo), hi)
	m.offset = math.Inf(1)
	for _, i := range m.hull {
		m.offset = min(m.offset, m.buckets[i].minY-m.slope*m.buckets[i].minX)
	}
}

// above says whether point b lies on or above the line from a to c.
func (m *clockMap) above(a, b, c int) bool {
	p, q, r := &m.buckets[a], &m.buckets[b], &m.buckets[c]
	return (q.minY-p.minY)*(r.minX-p.minX) >= (r.minY-p.minY)*(q.minX-p.minX)
}

// edgeSlope is the slope of the hull's edge over x.
func (m *clockMap) edgeSlope(x float64) float64 {
	k := 1
	for k < len(m.hull)-1 && m.buckets[m.hull[k]].minX < x {
		k++
	}
	a, b := &m.buckets[m.hull[k-1]], &m.buckets[m.hull[k]]
	return (b.minY - a.minY) / (b.minX - a.minX)
}

// at is the ground time of a device time, in ns of the session's monotonic
// time. Within one boot it rises with the device clock: the correction never
// jumps but moves towards the envelope by at most 1 ms in each second of
// device time (30 ms in the first 20 s of a boot, for its first frame may have
// been a late one). Only an error of more than 10 ms (300 ms), as after a link
// had held frames back, is worked off faster, in about 10 s, and never at more
// than half the speed of time. While frames come that a link had held back, or
// a recording is played faster than it was made, the device clock alone leads.
func (m *clockMap) at(clockUs int64) int64 {
	x := float64(clockUs-m.clock0) * 1e-6
	if m.fresh {
		m.fresh = false
		m.usedX, m.usedY = x, m.offset+m.slope*x
	}
	dx := x - m.usedX
	y := m.usedY + m.slope*dx
	if dx > 0 && m.held {
		m.usedX, m.usedY = x, y
	} else if dx > 0 {
		rate := steadySlew
		if x < youngAge {
			rate = youngSlew
		}
		miss := m.offset + m.slope*x - y
		rate = min(max(rate, math.Abs(miss)/urgentAfter), urgentSlew)
		y += min(max(miss, -rate*dx), rate*dx)
		m.usedX, m.usedY = x, y
	}
	return m.mono0 + (clockUs-m.clock0)*1000 + int64(math.Round(y*1e9))
}

// deviceAt is what the device clock should read, in us, when a frame without
// delay is heard at monoNs.
func (m *clockMap) deviceAt(monoNs int64) float64 {
	x := (float64(monoNs-m.mono0)*1e-9 - m.offset) / (1 + m.slope)
	return float64(m.clock0) + x*1e6
}
