package ensemble

import (
	"math"
	"sort"
)

// Point is the true state of a rocket at one moment.
type Point struct {
	T      float64 // s since liftoff
	Height float64 // m above the pad
	Speed  float64 // vertical, up positive, m/s
	Accel  float64 // vertical, of the motion, m/s2
	Across float64 // distance flown downrange, m
	Air    float64 // speed through the air, m/s, never negative
	Force  float64 // what an accelerometer along the body reads, m/s2; g0 at rest
}

// truePath is the true motion of one flight: points in order of time, close
// enough together that a cubic between two is exact to well under a
// millimetre. Where the acceleration jumps (burnout, touchdown) two points
// share a time.
type truePath struct {
	points []Point
	marks  marks
}

// marks are the moments of a path, in s since liftoff; NaN where there is
// none.
type marks struct {
	burnout, apogee, release, open, touchdown float64
	apogeeM, maxSpeed, maxAccel               float64
	// Of the rough world: the canopy meets the air, comes free if it was caught,
	// the second one is out and full.
	out, free, second, secondOpen float64
}

func noMarks() marks {
	n := math.NaN()
	return marks{n, n, n, n, n, 0, 0, 0, n, n, n, n}
}

// add appends a point and keeps the extremes.
func (p *truePath) add(q Point) {
	p.points = append(p.points, q)
	p.marks.maxSpeed = max(p.marks.maxSpeed, q.Speed)
	p.marks.maxAccel = max(p.marks.maxAccel, q.Accel)
}

// last is the newest point.
func (p *truePath) last() Point { return p.points[len(p.points)-1] }

// reset empties the path and keeps its memory.
func (p *truePath) reset() {
	p.points = p.points[:0]
	p.marks = noMarks()
}

// rest is the height in m above the pad at which the path ends.
func (p *truePath) rest() float64 {
	if len(p.points) == 0 {
		return 0
	}
	return p.last().Height
}

// cursor reads a path at times that mostly rise, in constant time each.
type cursor struct {
	path *truePath
	i    int
}

// at is the true state t seconds after liftoff: at rest on the pad before
// liftoff, at rest where the path ends after it.
func (c *cursor) at(t float64) Point {
	pts := c.path.points
	n := len(pts)
	if n == 0 || t <= pts[0].T {
		return Point{T: t, Force: g0}
	}
	if t >= pts[n-1].T {
		return Point{T: t, Height: pts[n-1].Height, Across: pts[n-1].Across, Force: g0}
	}
	if c.i > n-2 || t < pts[c.i].T || t > pts[min(c.i+8, n-1)].T {
		c.i = sort.Search(n, func(k int) bool { return pts[k].T > t }) - 1
	}
	for pts[c.i+1].T <= t {
		c.i++
	}
	return between(pts[c.i], pts[c.i+1], t)
}

// between interpolates: height by the cubic through both heights and speeds,
// speed by that cubic's derivative, the rest by straight lines.
func between(a, b Point, t float64) Point {
	dt := b.T - a.T
	s := (t - a.T) / dt
	h, v := hermite(a, b, s)
	mix := func(x, y float64) float64 { return x + s*(y-x) }
	return Point{
		T: t, Height: h, Speed: v, Accel: mix(a.Accel, b.Accel),
		Across: mix(a.Across, b.Across), Air: mix(a.Air, b.Air), Force: mix(a.Force, b.Force),
	}
}

// hermite is the cubic between two points at the fraction s, and its slope.
func hermite(a, b Point, s float64) (height, speed float64) {
	dt := b.T - a.T
	d := b.Height - a.Height
	// In Newton's form about a: c2, c3 are the square and cubic coefficients.
	c2 := 3*d - (2*a.Speed+b.Speed)*dt
	c3 := (a.Speed+b.Speed)*dt - 2*d
	height = a.Height + s*(a.Speed*dt+s*(c2+s*c3))
	speed = a.Speed + s*(2*c2+3*s*c3)/dt
	return height, speed
}

// findApogee sets the marks of the highest point: the vertex of the cubic
// between the two points where the speed changes sign.
func (p *truePath) findApogee() {
	pts := p.points
	best := -1
	for i := 1; i < len(pts); i++ {
		if pts[i-1].Speed > 0 && pts[i].Speed <= 0 && (best < 0 || pts[i].Height > pts[best].Height) {
			best = i
		}
	}
	if best < 0 {
		return
	}
	a, b := pts[best-1], pts[best]
	lo, hi := 0.0, 1.0
	for range 60 {
		mid := (lo + hi) / 2
		if _, v := hermite(a, b, mid); v > 0 {
			lo = mid
		} else {
			hi = mid
		}
	}
	h, _ := hermite(a, b, lo)
	p.marks.apogee = a.T + lo*(b.T-a.T)
	p.marks.apogeeM = h
}

// land cuts the path where it comes down through the ground height, in m
// above the pad, and says whether it did. The rocket lies still from there.
func (p *truePath) land(ground float64) bool {
	pts := p.points
	for i := 1; i < len(pts); i++ {
		if pts[i].Height > ground || pts[i].Speed >= 0 || pts[i].T <= p.marks.apogee {
			continue
		}
		a, b := pts[i-1], pts[i]
		lo, hi := 0.0, 1.0
		for range 60 {
			mid := (lo + hi) / 2
			if h, _ := hermite(a, b, mid); h > ground {
				lo = mid
			} else {
				hi = mid
			}
		}
		t := a.T + hi*(b.T-a.T)
		hit := between(a, b, t)
		hit.Height = ground
		still := Point{T: t, Height: ground, Across: hit.Across, Force: g0}
		p.points = append(pts[:i], hit, still)
		p.marks.touchdown = t
		return true
	}
	return false
}

// markOpen sets when the parachute carries: from then on the sink rate stays
// within a tenth of the parachute's own. Load is that rate in m/s times the
// square root of the density.
func (p *truePath) markOpen(a air, load float64) {
	for i := len(p.points) - 1; i >= 0; i-- {
		q := p.points[i]
		own := load / math.Sqrt(a.density(q.Height))
		if i > len(p.points)-2 {
			continue // lying
		}
		if q.T < p.marks.release || math.Abs(-q.Speed/own-1) > 0.1 {
			if i < len(p.points)-3 {
				p.marks.open = p.points[i+1].T
			}
			return
		}
	}
}
