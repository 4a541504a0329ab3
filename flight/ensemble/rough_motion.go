package ensemble

import "math"

// roughCraft flies by equations of its own: a canopy that comes out some time
// after the command and fills over a distance flown, overshoots and breathes, a
// body that does not stay nose down, air that rises and sinks, one canopy or
// two.
type roughCraft struct {
	motion motion // boost, body and the area of the canopy
	hard   *hard
	chuteM float64 // diameter of the canopy
	two    bool    // it flies high enough for two canopies
}

// roughState adds to position and speed what the canopies have met of the air.
type roughState struct {
	state
	fill, fill2 float64 // m flown through the air since each came out
}

// roughRun is one flight being integrated.
type roughRun struct {
	roughCraft
	o       outing
	release float64 // s after liftoff; +Inf for never
	out     float64 // the first canopy meets the air
	free    float64 // it comes free, if it was caught
	second  float64 // the second one is out; +Inf
	apogee  float64 // NaN while climbing
	topM    float64
}

// Steps in s: while the canopy fills, and when all is steady.
const (
	stepFill  = 0.01
	stepBraid = 0.05
	fillingS  = 3.0
	// Nobody gives a low rocket two canopies.
	leastForTwoM = 200.0
	longFallS    = 1800.0
)

func (c roughCraft) fly(o outing, p *truePath) error {
	natural := c.run(never(), math.Inf(1), nil)
	c.two = c.hard.secondM > 0 && natural.topM > leastForTwoM
	release := math.Inf(1)
	switch {
	case !math.IsNaN(o.byClock):
		release = o.byClock
	case !math.IsNaN(o.lag):
		release = max(0, natural.apogee+o.lag)
	}
	p.reset()
	r := c.run(o, release, p)
	p.marks.burnout = c.motion.boostS
	p.findApogee()
	p.land(o.groundM)
	if r.release < p.marks.touchdown {
		p.marks.release = r.release
		r.markCanopies(p)
	}
	return nil
}

// markCanopies sets what the canopies did before touchdown.
func (r *roughRun) markCanopies(p *truePath) {
	if r.o.stuckIn {
		return
	}
	m := &p.marks
	before := func(t float64) float64 {
		if t < m.touchdown {
			return t
		}
		return math.NaN()
	}
	m.out, m.second = before(r.out), before(r.second)
	if r.hard.snagS > 0 {
		m.free = before(r.free)
	}
	m.open, m.secondOpen = before(r.fullAt(p, r.free, r.fillDistance())), before(r.fullAt(p, r.second, r.fillDistance()))
}

// fillDistance in m of the canopy for the landing; the small first one of two
// stages fills over the same, for its lines are as long.
func (r *roughRun) fillDistance() float64 { return r.hard.fillD * r.chuteM }

// fullAt is when a canopy that begins to fill at a time is nearly full.
func (r *roughRun) fullAt(p *truePath, from, distance float64) float64 {
	flown := 0.0
	for i := 1; i < len(p.points); i++ {
		a, b := &p.points[i-1], &p.points[i]
		if b.T <= from {
			continue
		}
		flown += (a.Air + b.Air) / 2 * (b.T - max(a.T, from))
		if flown > 0.9*distance {
			return b.T
		}
	}
	return math.Inf(1)
}

// run integrates a flight, into the path if there is one.
func (c roughCraft) run(o outing, release float64, p *truePath) roughRun {
	inf := math.Inf(1)
	r := roughRun{roughCraft: c, o: o, release: release, out: inf, free: inf, second: inf, apogee: math.NaN()}
	if release < inf {
		r.out = release + c.hard.outS
		r.free = r.out + c.hard.snagS
	}
	s, t := roughState{}, 0.0
	r.motion.burning = true
	for t < longFallS {
		if p != nil {
			p.add(r.point(t, s))
		}
		dt := r.stepAt(t)
		s = r.step(t, dt, s)
		t += dt
		if r.motion.burning && t >= r.motion.boostS-1e-12 {
			if p != nil {
				p.add(r.point(t, s))
			}
			r.motion.burning = false
		}
		if math.IsNaN(r.apogee) && s.v < 0 && t > 0.1 {
			r.apogee, r.topM = t, s.h
			if p == nil {
				return r
			}
		}
		if r.two && math.IsInf(r.second, 1) && t > r.out && s.v < 0 && s.h < r.hard.secondM {
			r.second = t + r.hard.outS
		}
		if s.h <= o.groundM-1 && s.v < 0 && !math.IsNaN(r.apogee) {
			break
		}
	}
	if p != nil {
		p.add(r.point(t, s))
	}
	return r
}

// stepAt is the length of the step from t on; none crosses burnout or an
// opening.
func (r *roughRun) stepAt(t float64) float64 {
	dt := stepCoast
	if r.motion.burning {
		dt = r.motion.boostS / boostSteps
	}
	for _, from := range [2]float64{r.out, r.second} {
		if t >= from {
			dt = stepBraid
		}
	}
	for _, from := range [3]float64{r.out, r.free, r.second} {
		if t >= from-1e-9 && t < from+fillingS {
			dt = stepFill
		}
	}
	for _, edge := range [5]float64{r.motion.boostS, r.release, r.out, r.free, r.second} {
		if t < edge-1e-9 && t+dt > edge {
			dt = edge - t
		}
	}
	return dt
}

// slope is the state's derivative.
func (r *roughRun) slope(t float64, s roughState) (d roughState, pull, air float64) {
	m := &r.motion
	ux, uh := s.u-m.wind, s.v-r.rising(t, s.h)
	air = math.Hypot(ux, uh)
	along := m.thrust(t)
	k := m.air.density(s.h) * r.area(t, s, air) / (2 * m.mass)
	pull = k * air * air
	d.x, d.h, d.fill, d.fill2 = s.u, s.v, 0, 0
	if m.burning && (math.Hypot(s.x, s.h) < m.railM || math.Abs(s.v) < 0.5) {
		v := math.Hypot(s.u, s.v)
		a := along - g0*math.Cos(m.tilt) - k*v*v
		d.u, d.v = a*math.Sin(m.tilt), a*math.Cos(m.tilt)
		return d, k * v * v, v
	}
	if air > 0 {
		d.u, d.v = (along-pull)*ux/air, (along-pull)*uh/air
	}
	d.v -= g0
	if t >= r.free {
		d.fill = air
	}
	if t >= r.second {
		d.fill2 = air
	}
	return d, pull, air
}

// step is one of Heun's third-order steps.
func (r *roughRun) step(t, dt float64, s roughState) roughState {
	add := func(a roughState, f float64, d roughState) roughState {
		return roughState{state{a.x + f*d.x, a.h + f*d.h, a.u + f*d.u, a.v + f*d.v}, a.fill + f*d.fill, a.fill2 + f*d.fill2}
	}
	k1, _, _ := r.slope(t, s)
	k2, _, _ := r.slope(t+dt/3, add(s, dt/3, k1))
	k3, _, _ := r.slope(t+dt*2/3, add(s, dt*2/3, k2))
	return add(add(s, dt/4, k1), dt*3/4, k3)
}

// area is the drag area in m2 of body and canopies at a speed through the air.
func (r *roughRun) area(t float64, s roughState, air float64) float64 {
	m := &r.motion
	a := m.dragA * r.hard.contrary.drag(air)
	if !math.IsNaN(r.apogee) && t < r.out {
		// It turns over, and not at once.
		turned := 1 - math.Exp(-(t-r.apogee)/r.hard.tumbleS)
		a *= 1 + (r.hard.tumble-1)*turned*(1+0.3*math.Sin(9*(t-r.apogee)))
	}
	if r.o.stuckIn || t < r.out {
		return a
	}
	full := m.chuteA * r.o.chute * r.o.chute
	if t < r.free {
		return a + full*r.hard.snagPart
	}
	breathing := 1 + r.hard.breathe*math.Sin(2*math.Pi*r.hard.breatheHz*(t-r.out)+r.hard.breathePhase)
	first := full
	if r.two {
		v := r.hard.firstMps
		first = min(full/2, 2*m.mass*g0/(m.air.padDensity()*v*v))
	}
	a += first * r.filled(s.fill) * breathing
	if t >= r.second {
		a += full * r.filled(s.fill2) * breathing
	}
	return a
}

// filled is the part of a canopy's area after a distance flown: slow first, then
// quick, beyond full for a moment.
func (r *roughRun) filled(flown float64) float64 {
	x := flown / max(r.fillDistance(), 0.1)
	if x < 1 {
		return x * x * (1 + r.hard.over*x)
	}
	return 1 + r.hard.over*math.Exp(-2*(x-1))
}

// rising is the vertical wind in m/s.
func (r *roughRun) rising(t, h float64) float64 {
	if r.hard.updraft == 0 || h <= 0 {
		return 0
	}
	sum := 0.0
	for _, w := range r.hard.wave {
		sum += math.Sin(2*math.Pi*w.hz*t + w.phase)
	}
	return r.hard.updraft * math.Sqrt(2./3) * sum * min(1, h/20)
}

// point is the truth at time t.
func (r *roughRun) point(t float64, s roughState) Point {
	d, pull, air := r.slope(t, s)
	force := r.motion.thrust(t) - pull
	if t >= r.out {
		force = d.v + g0
	}
	return Point{T: t, Height: s.h, Speed: s.v, Accel: d.v, Across: s.x, Air: air, Force: force}
}
