package smooth

import (
	"math"

	"padlark/flight/atmos"
)

const gravity = atmos.StandardGravity

// Parameters of a path, in this order.
const (
	pHeight = iota // m above the pad at the anchor
	pSpeed         // m/s at the anchor
	pDrag          // logarithm of the body's drag per mass, 1/m
	pAcross        // m/s, speed across, through the air, at the anchor
	pPort          // m per (m/s)2: what the vent adds to the height
	pOpen          // s, by how much the release differs from the anchor
	pFill          // logarithm of what the parachute takes to fill: a distance in m or a time in s
	pCanopy        // logarithm of the parachute's drag per mass, 1/m
	pRest          // m above the pad at which it comes to lie
	pScale         // part by which the readings are longer than metres
	pSecond        // s after the anchor when a second parachute opens
	pLower         // logarithm of the drag per mass from then on, 1/m
	nParams
)

// params are the values of a path's parameters.
type params [nParams]float64

// path is the motion of a rocket from burnout to rest: body drag, from the
// release on a parachute that fills, in two stages at times, then the ground. It
// is anchored in height and speed at one moment near the top, not after the
// release, and integrated from there both ways.
type path struct {
	anchor float64 // s
	canopy bool    // there is a release
	fills  filling
	stages bool // another parachute opens lower down
}

// filling is how a parachute fills.
type filling int

const (
	withAir    filling = iota // its area grows with the square of the distance flown
	withTime                  // with the square of the time
	evenlyTime                // with the time
	fillings
)

// longest step of the integration, s. The scheme is of fourth order.
const pathStep = 0.04

// airScale is the height over which air thins by a factor e, m.
const airScale = 9500

// flow is a path with its parameters made ready for the integration.
type flow struct {
	body, canopy float64 // drag per mass, 1/m
	perFill      float64 // 1 over the filling distance, 1/m, or time, 1/s
	release      float64 // s; +Inf if there is none
	fills        filling
	second       float64 // s, when a second parachute opens; +Inf if there is none
	lower        float64 // drag per mass from then on, 1/m
}

// secondS is how long a second parachute takes to fill, s (common practice, no
// source). It opens at speed, and what it slows is over in as long.
const secondS = 0.5

// moving is the state of the integration: height, speed up, speed across through
// the air, and the part of the filling distance that the parachute has met, 0 to
// 1. The drag is along the path: a rocket that flies across at 10 m/s when its
// parachute opens gathers less speed downward, for seconds.
type moving struct{ h, v, u, fill float64 }

func (p *path) flow(q *params) flow {
	f := flow{body: math.Exp(q[pDrag]), release: math.Inf(1), second: math.Inf(1), fills: p.fills}
	if p.canopy {
		f.canopy, f.perFill = math.Exp(q[pCanopy]), math.Exp(-q[pFill])
		f.release = p.anchor + q[pOpen]
		if p.stages {
			f.second, f.lower = p.anchor+q[pSecond], math.Exp(q[pLower])
		}
	}
	return f
}

// rate is the derivative of the state. The drag falls with the density of the
// air. What hangs on a parachute drifts with the wind in the end.
func (f *flow) rate(t float64, s moving) (dv, du, dfill float64) {
	speed := math.Sqrt(f.air2(s))
	d := f.body
	if t > f.release {
		full := f.canopy
		if t > f.second {
			full += (f.lower - f.canopy) * min(1, (t-f.second)/secondS)
		}
		switch {
		case s.fill >= 1:
			d += full
		case f.fills == withAir:
			d += full * s.fill * s.fill
			dfill = speed * f.perFill
		case f.fills == withTime:
			d += full * s.fill * s.fill
			dfill = f.perFill
		default:
			d += full * s.fill
			dfill = f.perFill
		}
	}
	slows := d * f.density(s.h) * speed
	return -gravity - slows*s.v, -slows * s.u, dfill
}

// air2 is the square of the speed through the air.
func (f *flow) air2(s moving) float64 { return s.v*s.v + s.u*s.u }

// density of the air at height h over that at the pad: exp(-h/airScale) to
// second order.
func (f *flow) density(h float64) float64 {
	x := h / airScale
	return 1 - x*(1-x/2)
}

// step is one Runge-Kutta step of fourth order.
func (f *flow) step(t, dt float64, s moving) moving {
	a1, b1, q1 := f.rate(t, s)
	s2 := moving{s.h + dt/2*s.v, s.v + dt/2*a1, s.u + dt/2*b1, s.fill + dt/2*q1}
	a2, b2, q2 := f.rate(t+dt/2, s2)
	s3 := moving{s.h + dt/2*s2.v, s.v + dt/2*a2, s.u + dt/2*b2, s.fill + dt/2*q2}
	a3, b3, q3 := f.rate(t+dt/2, s3)
	s4 := moving{s.h + dt*s3.v, s.v + dt*a3, s.u + dt*b3, s.fill + dt*q3}
	a4, b4, q4 := f.rate(t+dt, s4)
	return moving{
		s.h + dt/6*(s.v+2*s2.v+2*s3.v+s4.v), s.v + dt/6*(a1+2*a2+2*a3+a4),
		s.u + dt/6*(b1+2*b2+2*b3+b4), min(1, s.fill+dt/6*(q1+2*q2+2*q3+q4)),
	}
}

// to integrates from t to end. A release in between begins a new step.
func (f *flow) to(t, end float64, s moving) moving {
	if t < f.release && end > f.release {
		s = f.to(t, f.release, s)
		t = f.release
	}
	if t < f.second && end > f.second {
		s = f.to(t, f.second, s)
		t = f.second
	}
	n := min(math.Ceil(math.Abs(end-t)/f.longest(t, s)-1e-9), longestSinkS/pathStep)
	for ; n > 0; n-- {
		dt := (end - t) / n
		s = f.step(t, dt, s)
		t += dt
	}
	return s
}

// longest is how long a step from there may be, s. Under a full parachute nothing
// changes but the density, and the longest part of a flight is that.
func (f *flow) longest(t float64, s moving) float64 {
	if s.fill < 1 || t > f.second && t < f.second+secondS {
		return pathStep
	}
	if dv, du, _ := f.rate(t, s); math.Abs(dv) > steadyPart*gravity || math.Abs(du) > steadyPart*gravity {
		return pathStep
	}
	// The speed settles with the rate 2g/v, and the scheme is good up to 1 over that.
	return max(pathStep, min(thinS, math.Abs(s.v)/(2*gravity)))
}

// steadyPart is what is left of gravity where a parachute carries.
const steadyPart = 0.02

func anchored(q *params) moving { return moving{q[pHeight], q[pSpeed], q[pAcross], 0} }

// heights writes what the readings at times t should be: the path from
// `start` on, 0 before it (the pad; what lies between is left out by the
// caller). It returns when the path meets the ground, +Inf if it does not
// within the times. With a ground that is not NaN it takes that for the moment,
// wherever the path is then. Air, if not nil, gets the squares of the speed through the
// air, which the vent feels.
func (p *path) heights(q *params, t []float64, start, ground float64, out, air []float64) (touch float64) {
	f := p.flow(q)
	longer := 1 + q[pScale]
	note := func(i int, s moving) {
		a := f.air2(s)
		out[i] = longer * (s.h + q[pPort]*a)
		if air != nil {
			air[i] = a
		}
	}
	clear(air)
	first := 0
	for first < len(t) && t[first] < p.anchor {
		first++
	}
	s, at := anchored(q), p.anchor
	i := first - 1
	for ; i >= 0 && t[i] >= start; i-- {
		s = f.to(at, t[i], s)
		at = t[i]
		note(i, s)
		if math.Abs(s.v) > 2000 { // drag blows up backwards in time
			s = moving{-1e4, 0, 0, 0}
		}
	}
	for ; i >= 0; i-- {
		out[i] = 0
	}
	touch = math.Inf(1)
	s, at = anchored(q), p.anchor
	for i = first; i < len(t); i++ {
		if t[i] >= ground {
			touch = ground
			break
		}
		s0, t0 := s, at
		s = f.to(at, t[i], s)
		at = t[i]
		if math.IsNaN(ground) && s.h <= q[pRest] && s.v < 0 {
			touch = f.meet(q[pRest], t0, s0, t[i])
			break
		}
		note(i, s)
	}
	for ; i < len(t); i++ {
		out[i] = longer * q[pRest]
	}
	return touch
}

// meet finds when the path passes the rest height between t0 and t1.
func (f *flow) meet(rest, t0 float64, s0 moving, t1 float64) float64 {
	lo, hi := t0, t1
	for range 40 {
		mid := (lo + hi) / 2
		if f.to(t0, mid, s0).h > rest {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi
}

// apex is the highest point of the path.
func (p *path) apex(q *params) (t, h float64) {
	f := p.flow(q)
	t = p.anchor
	s := anchored(q)
	dir := 1.0
	if s.v < 0 {
		dir = -1
	}
	for range 4000 {
		if math.Abs(s.v) < 1e-9 {
			break
		}
		a, _, _ := f.rate(t, s)
		dt := -s.v / a
		if dt*dir < 0 || math.Abs(dt) > 0.02 {
			dt = 0.02 * dir
		}
		s = f.step(t, dt, s)
		t += dt
		if s.v*dir < 0 { // stepped over
			dir = -dir
		}
	}
	return t, s.h
}

// at is height and speed at time t, not knowing the ground.
func (p *path) at(q *params, t float64) (h, v float64) {
	f := p.flow(q)
	s := f.to(p.anchor, t, anchored(q))
	return s.h, s.v
}

// longestSinkS bounds how long a path is followed, s.
const longestSinkS = 1800

// carries is from when on the parachute carries, and the height then: the sink
// rate stays within a tenth of the parachute's own until `end`. +Inf if it
// never does.
func (p *path) carries(q *params, end float64) (t, h float64) {
	const within, dt = 0.1, 0.02
	f := p.flow(q)
	t = f.release
	s := f.to(p.anchor, t, anchored(q))
	s.fill = 0
	since, at := t, s.h
	end = min(end, t+longestSinkS)
	own := f.canopy
	if p.stages {
		own = f.lower
	}
	for t < end {
		own := math.Sqrt(gravity / ((own + f.body) * f.density(s.h)))
		if math.Abs(-s.v/own-1) > within {
			since, at = math.Inf(1), 0
		} else if math.IsInf(since, 1) {
			since, at = t, s.h
		}
		s = f.step(t, dt, s)
		t += dt
	}
	return since, at
}

// touchdown is when the path meets the ground, at most `most` seconds after
// the anchor.
func (p *path) touchdown(q *params, most float64) float64 {
	f := p.flow(q)
	s, t := anchored(q), p.anchor
	for t < p.anchor+min(most, longestSinkS) {
		s1 := f.to(t, t+0.2, s)
		if s1.h <= q[pRest] && s1.v < 0 {
			return f.meet(q[pRest], t, s, t+0.2)
		}
		t, s = t+0.2, s1
	}
	return math.Inf(1)
}
