package smooth

import "math"

const gravity = 9.80665 // m/s2

// Parameters of a path, in this order.
const (
	pHeight = iota // m above the pad at the anchor
	pSpeed         // m/s at the anchor
	pDrag          // logarithm of the body's drag per mass, 1/m
	pAcross        // m/s, speed across, all the way
	pPort          // m per (m/s)2: what the vent adds to the height
	pOpen          // s, by how much the release differs from the anchor
	pFill          // logarithm of the time in s that the parachute takes to fill
	pCanopy        // logarithm of the parachute's drag per mass, 1/m
	pRest          // m above the pad at which it comes to lie
	nParams
)

// params are the values of a path's parameters.
type params [nParams]float64

// path is the motion of a rocket from burnout to rest: body drag, from the
// release on a parachute that fills, then the ground. It is anchored in
// height and speed at one moment near the top and integrated from there both
// ways.
type path struct {
	anchor float64 // s
	canopy bool    // there is a release
}

// longest step of the integration, s. The scheme is of fourth order.
const pathStep = 0.04

// airScale is the height over which air thins by a factor e, m.
const airScale = 9500

// accel is the vertical acceleration.
func (p *path) accel(q *params, t, h, v float64) float64 {
	d := math.Exp(q[pDrag])
	if p.canopy {
		if u := t - p.anchor - q[pOpen]; u > 0 {
			f := min(1, u/math.Exp(q[pFill]))
			d += math.Exp(q[pCanopy]) * f * f
		}
	}
	d *= math.Exp(-h / airScale)
	return -gravity - d*v*math.Sqrt(v*v+q[pAcross]*q[pAcross])
}

// step is one Runge-Kutta step of fourth order.
func (p *path) step(q *params, t, dt, h, v float64) (float64, float64) {
	a1 := p.accel(q, t, h, v)
	v2 := v + dt/2*a1
	a2 := p.accel(q, t+dt/2, h+dt/2*v, v2)
	v3 := v + dt/2*a2
	a3 := p.accel(q, t+dt/2, h+dt/2*v2, v3)
	v4 := v + dt*a3
	a4 := p.accel(q, t+dt, h+dt*v3, v4)
	return h + dt/6*(v+2*v2+2*v3+v4), v + dt/6*(a1+2*a2+2*a3+a4)
}

// to integrates from (t, h, v) to end.
func (p *path) to(q *params, t, end, h, v float64) (float64, float64) {
	for n := math.Ceil(math.Abs(end-t)/pathStep - 1e-9); n > 0; n-- {
		dt := (end - t) / n
		h, v = p.step(q, t, dt, h, v)
		t += dt
	}
	return h, v
}

// heights writes what the readings at times t should be: the path from
// `start` on, 0 before it (the pad; what lies between is left out by the
// caller). It returns when the path meets the ground, +Inf if it does not
// within the times.
func (p *path) heights(q *params, t []float64, start float64, out []float64) (touch float64) {
	first := 0
	for first < len(t) && t[first] < p.anchor {
		first++
	}
	h, v, at := q[pHeight], q[pSpeed], p.anchor
	i := first - 1
	for ; i >= 0 && t[i] >= start; i-- {
		h, v = p.to(q, at, t[i], h, v)
		at = t[i]
		out[i] = h + q[pPort]*v*math.Abs(v)
		if math.Abs(v) > 2000 { // drag blows up backwards in time
			h, v = -1e4, 0
		}
	}
	for ; i >= 0; i-- {
		out[i] = 0
	}
	touch = math.Inf(1)
	h, v, at = q[pHeight], q[pSpeed], p.anchor
	for i = first; i < len(t); i++ {
		h0, v0, t0 := h, v, at
		h, v = p.to(q, at, t[i], h, v)
		at = t[i]
		if h <= q[pRest] && v < 0 {
			touch = p.meet(q, t0, h0, v0, t[i])
			break
		}
		out[i] = h
	}
	for ; i < len(t); i++ {
		out[i] = q[pRest]
	}
	return touch
}

// meet finds when the path passes the rest height between t0 and t1.
func (p *path) meet(q *params, t0, h0, v0, t1 float64) float64 {
	lo, hi := t0, t1
	for range 40 {
		mid := (lo + hi) / 2
		if h, _ := p.to(q, t0, mid, h0, v0); h > q[pRest] {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi
}

// apex is the highest point of the path.
func (p *path) apex(q *params) (t, h float64) {
	t, h = p.anchor, q[pHeight]
	v := q[pSpeed]
	dir := 1.0
	if v < 0 {
		dir = -1
	}
	for range 4000 {
		if math.Abs(v) < 1e-9 {
			break
		}
		a := p.accel(q, t, h, v)
		dt := -v / a
		if dt*dir < 0 || math.Abs(dt) > 0.02 {
			dt = 0.02 * dir
		}
		h, v = p.step(q, t, dt, h, v)
		t += dt
		if v*dir < 0 { // stepped over
			dir = -dir
		}
	}
	return t, h
}

// at is height and speed at time t, not knowing the ground.
func (p *path) at(q *params, t float64) (h, v float64) {
	return p.to(q, p.anchor, t, q[pHeight], q[pSpeed])
}

// touchdown is when the path meets the ground, at most `most` seconds after
// the anchor.
func (p *path) touchdown(q *params, most float64) float64 {
	h, v, t := q[pHeight], q[pSpeed], p.anchor
	for t < p.anchor+most {
		h1, v1 := p.to(q, t, t+0.2, h, v)
		if h1 <= q[pRest] && v1 < 0 {
			return p.meet(q, t, h, v, t+0.2)
		}
		t, h, v = t+0.2, h1, v1
	}
	return math.Inf(1)
}
