package model

import (
	"math"
	"sort"
)

// stage is a part of a flight in which the forces are smooth.
type stage uint8

const (
	onTube      stage = iota // the tube pushes, no water leaves
	waterJet                 // q: gas volume / bottle volume
	airFlow                  // q: gas mass / gas mass at the start of the stage
	motorBurn                // between two points of the thrust curve
	ballistic                // no thrust, no canopy
	canopyFills              // q: part of the filling distance
	canopyOpen
)

// still is the excess pressure in Pa below which a jet is taken to have ended.
// The flow near zero is a square root that ends within microseconds; 50 Pa of
// excess carry less than 1e-6 of the impulse.
const still = 50

// setup is everything about a flight that does not change during it, derived
// from the rocket and the launch.
type setup struct {
	r Rocket
	l Launch

	g        float64
	pa       float64 // air pressure at the pad, Pa
	rho0     float64 // air density at the pad, kg/m3
	lapseK   float64 // relative fall of the temperature per m
	rhoPower float64
	sin, cos float64 // of the tilt
	guided   float64 // length of rail or tube, m
	windH    float64

	bodyArea, canopyArea float64 // drag areas (Cd times area), m2
	fillM                float64 // filling distance, m

	// Water rocket.
	n          float64 // polytropic exponent
	rhoWater   float64
	jetArea    float64 // m2, with the discharge coefficient
	tubeArea   float64
	water      float64 // kg at the start
	film       float64 // kg that stays
	gas0       float64 // gas volume at the start, m3
	gasEnd     float64 // gas volume when the water is out, m3
	p0         float64 // absolute pressure at the start, Pa
	pTube      float64 // and at the end of the tube
	t0         float64 // gas temperature at the start, K
	gasMass    float64 // kg in the bottle during the water stage
	p1, t1, m1 float64 // pressure, temperature, gas mass when the water is out
	airLeft    float64 // kg of air that stay when the jet has ended

	// Motor.
	casing    float64   // kg without propellant
	impulse   []float64 // N s delivered up to each point of the curve
	motorLead float64   // s from ignition to liftoff

	ideal ideal
}

// ideal switches parts of the physics off, for comparison with closed forms.
type ideal struct{ noGravity, noDrag, noGasMass bool }

// mode is the stage with what else the forces depend on.
type mode struct {
	stage stage
	rail  bool // still guided
	knot  int  // piece of the thrust curve
}

// forces evaluates the slopes in one mode.
type forces struct {
	*setup
	mode mode
}

// load is what the stage adds to the point mass.
type load struct {
	mass, thrust, pressure, dq, dragArea float64
}

// power is b to the e for b > 0, without the care for special cases that makes
// math.Pow twice as slow; half the time of a flight is spent here.
func power(b, e float64) float64 { return math.Exp(e * math.Log(b)) }

func (s *setup) density(z float64) float64 {
	b := 1 - s.lapseK*z
	if b <= 0 {
		return 0
	}
	return s.rho0 * power(b, s.rhoPower)
}

func (s *setup) wind(z float64) float64 {
	if s.l.Shear == 0 || s.l.Wind == 0 || z <= s.windH {
		return s.l.Wind
	}
	return s.l.Wind * power(z/s.windH, s.l.Shear)
}

// bottle gives the absolute pressure at gas volume v (m3) in the water stage.
func (s *setup) bottle(v float64) float64 {
	return s.pTube * power((s.r.Volume-s.water/s.rhoWater)/v, s.n)
}

// blown gives pressure and temperature when the part q of the gas is left.
func (s *setup) blown(q float64) (p, t float64) {
	if q <= 0 {
		return 0, 0
	}
	f := power(q, s.n)
	return s.p1 * f, s.t1 * f / q
}

// loadAt gives what the stage does at (t, y); speed is that through the air.
func (s *setup) loadAt(m mode, t float64, y *state, speed float64) load {
	ld := load{mass: s.r.Dry + s.film, pressure: s.pa, dragArea: s.bodyArea}
	switch m.stage {
	case onTube:
		moved := y[iX]*s.sin + y[iZ]*s.cos
		ld.pressure = s.p0 * power(s.gas0/(s.gas0+s.tubeArea*math.Max(moved, 0)), s.n)
		ld.mass = s.r.Dry + s.water + s.gasMass
		ld.thrust = (ld.pressure - s.pa) * s.tubeArea
	case waterJet:
		v := y[iQ] * s.r.Volume
		ld.pressure = s.bottle(v)
		ld.mass += math.Max(0, (s.gasEnd-v)*s.rhoWater) + s.gasMass
		if excess := ld.pressure - s.pa; excess > 0 {
			ld.thrust = 2 * s.jetArea * excess
			ld.dq = s.jetArea * math.Sqrt(2*excess/s.rhoWater) / s.r.Volume
		}
	case airFlow:
		p, temp := s.blown(y[iQ])
		flow, thrust := airJet(p, temp, s.pa, s.jetArea)
		ld.pressure, ld.thrust, ld.dq = p, thrust, -flow/s.m1
		ld.mass += s.gasMass * y[iQ]
	case motorBurn:
		ld.thrust, ld.mass = s.motorAt(m.knot, t)
	case ballistic:
		// Under the canopy the air is as warm as that around and bears itself.
		ld.mass += s.casing + s.airLeft
	case canopyFills:
		ld.mass += s.casing
		ld.dragArea += s.canopyArea * y[iQ] * y[iQ]
		ld.dq = speed / s.fillM
	case canopyOpen:
		ld.mass += s.casing
		ld.dragArea += s.canopyArea
	}
	return ld
}

// motorAt gives thrust and total mass t seconds after liftoff, on piece knot of
// the thrust curve.
func (s *setup) motorAt(knot int, t float64) (thrust, mass float64) {
	m := s.r.Motor
	a, b := m.Curve[knot], m.Curve[knot+1]
	dt := t + s.motorLead - a.T
	rate := (b.N - a.N) / (b.T - a.T)
	thrust = a.N + rate*dt
	spent := s.impulse[knot] + dt*(a.N+rate*dt/2)
	left := 1 - spent/s.impulse[len(s.impulse)-1]
	return math.Max(thrust, 0), s.r.Dry + s.casing + m.Propellant*math.Max(left, 0)
}

// knotAt is the piece of the thrust curve at time t after ignition.
func (s *setup) knotAt(t float64) int {
	c := s.r.Motor.Curve
	i := sort.Search(len(c), func(i int) bool { return c[i].T > t }) - 1
	return max(0, min(i, len(c)-2))
}

// slope implements slopes.
func (f *forces) slope(t float64, y, dy *state) {
	s := f.setup
	vx, vz := y[iVX], y[iVZ]
	rx := vx - s.wind(y[iZ])
	through := math.Sqrt(rx*rx + vz*vz)
	ld := s.loadAt(f.mode, t, y, through)
	drag := 0.5 * s.density(y[iZ]) * ld.dragArea * through / ld.mass
	push := ld.thrust / ld.mass
	dy[iX], dy[iZ], dy[iQ] = vx, vz, ld.dq
	if f.mode.rail {
		a := push - drag*(rx*s.sin+vz*s.cos) - s.g*s.cos
		dy[iVX], dy[iVZ] = a*s.sin, a*s.cos
		return
	}
	ux, uz := s.pointing(vx, vz)
	dy[iVX] = push*ux - drag*rx
	dy[iVZ] = push*uz - drag*vz - s.g
}

// finSpeed is about the speed in m/s below which the fins of a rocket that
// nothing guides turn it little: it points as it stood (common practice, no
// source).
const finSpeed = 5.0

// pointing is the direction of the thrust, sideways and up. Off its rail a rocket
// points along its path. One that began without a rail has no path yet, and a
// motor that just lifts it would else push it wherever rounding moved it first:
// it turns from where it stood to its path as it gets faster than finSpeed.
func (s *setup) pointing(vx, vz float64) (ux, uz float64) {
	if s.guided == 0 {
		vx, vz = vx+finSpeed*s.sin, vz+finSpeed*s.cos
	}
	v := math.Sqrt(vx*vx + vz*vz)
	if v == 0 {
		return s.sin, s.cos
	}
	return vx / v, vz / v
}
