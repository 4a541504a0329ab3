package model

import (
	"errors"
	"fmt"
	"math"

	"padlark/flight"
)

const (
	stepsMost = 20000 // steps in one flight before it is given up
	timeMost  = 3600  // s
	heightMax = 10000 // m: the air above is not in this model
)

// normal is the tolerance of Fly: heights and times good to about 1e-5.
var normal = tolerance{rel: 1e-6, abs: 1e-7}

// Fly computes one flight. The error says which quantity is out of range, or
// why the rocket does not leave the pad.
func Fly(r Rocket, l Launch) (Trajectory, error) {
	return fly(r, l, ideal{}, normal)
}

func fly(r Rocket, l Launch, id ideal, tol tolerance) (Trajectory, error) {
	if r.Release.How == AfterApogee && r.Release.Seconds < 0 {
		// Before apogee: fly once without, to know when the apogee would be.
		free := r
		free.Release = Release{}
		tr, err := fly(free, l, id, tol)
		if err != nil {
			return tr, err
		}
		r.Release = Release{AfterLiftoff, math.Max(0, tr.Marks.Apogee.T+r.Release.Seconds)}
	}
	s, err := newSetup(r, l, id)
	if err != nil {
		return Trajectory{}, err
	}
	p := pilot{forces: forces{setup: s}, tol: tol}
	p.tr.setup = s
	p.tr.segments = make([]segment, 0, 160) // most flights take 80 to 140 steps
	if err := p.whole(); err != nil {
		return Trajectory{}, fmt.Errorf("integrate flight: %w", err)
	}
	p.tr.finish()
	return p.tr, nil
}

// pilot takes a rocket through the stages of a flight.
type pilot struct {
	forces
	tol tolerance
	tr  Trajectory
	try attempt
	t   float64
	y   state
	n   int       // steps so far
	met happening // at the end of the step before; timeUp if none
}

// metAgain is how far ahead, in the happening's own unit (m, m/s, Pa or a
// share), what was just met may seem to lie by rounding alone.
const metAgain = 1e-9

// happening is what ends a run of the integrator early.
type happening uint8

const (
	timeUp    happening = iota
	railEnd             // the guided length is used up
	tubeEnd             // the tube is left
	waterOut            // the gas has the volume of the bottle
	pressure            // the pressure is that of the air
	top                 // the vertical speed is zero
	ground              // back at the height of the pad
	canopyFul           // the canopy has met its filling distance
)

// gap is positive before a happening and not after it.
func (p *pilot) gap(h happening, y *state) float64 {
	s := p.setup
	switch h {
	case railEnd:
		return s.guided - y[iX]*s.sin - y[iZ]*s.cos
	case tubeEnd:
		return s.r.TubeLength - y[iX]*s.sin - y[iZ]*s.cos
	case waterOut:
		return s.gasEnd/s.r.Volume - y[iQ]
	case pressure:
		if p.mode.stage == airFlow {
			now, _ := s.blown(y[iQ])
			return now - s.pa - still
		}
		return s.bottle(y[iQ]*s.r.Volume) - s.pa - still
	case top:
		return y[iVZ]
	case ground:
		return y[iZ]
	case canopyFul:
		return 1 - y[iQ]
	}
	return 1
}

// run integrates up to the time end or until the first of the happenings, from
// a first step of h, and says which it was.
func (p *pilot) run(end, h float64, watch ...happening) (happening, error) {
	p.slope(p.t, &p.y, &p.try.k[0])
	for p.t < end {
		if p.n++; p.n > stepsMost {
			return timeUp, fmt.Errorf("more than %d steps at %.3f s: check the input for extreme values", stepsMost, p.t)
		}
		last := p.t+h >= end
		if last {
			h = end - p.t
		}
		e := p.try.try(p, p.t, h, &p.y, p.tol)
		if !(e <= 1) {
			h = next(h, e)
			if h < 1e-12 {
				return timeUp, fmt.Errorf("step too small at %.6f s", p.t)
			}
			continue
		}
		hit, upTo := p.first(h, watch)
		if hit != timeUp {
			h = upTo
			p.try.try(p, p.t, h, &p.y, p.tol)
		}
		p.accept(h)
		p.met = hit
		if hit != timeUp {
			return hit, nil
		}
		if last {
			p.t = end
			return timeUp, nil
		}
		p.try.k[0] = p.try.k[6]
		h = next(h, e)
	}
	return timeUp, nil
}

// first says which happening comes first within the step of h just tried, and
// after what part of it; timeUp if there is none. A happening is only what
// crosses within the step: after the top the speed stays negative.
func (p *pilot) first(h float64, watch []happening) (hit happening, upTo float64) {
	upTo = h
	for _, w := range watch {
		// What was just met can lie a rounding error ahead still, by how the
		// processor rounds: it is not met twice.
		now := p.gap(w, &p.y)
		if now > 0 && p.gap(w, &p.try.y1) <= 0 && !(w == p.met && now < metAgain) {
			if u := p.cross(w, h); hit == timeUp || u < upTo {
				hit, upTo = w, u
			}
		}
	}
	return hit, upTo
}

// cross finds when, within the step of h just tried, w happens, by regula falsi
// with the Illinois rule on the continuous extension. The result is on the far
// side, so that the same happening is not met again.
func (p *pilot) cross(w happening, h float64) float64 {
	c := p.try.extension(h, &p.y)
	lo, hi := 0.0, 1.0
	glo, ghi := p.gap(w, &p.y), p.gap(w, &p.try.y1)
	side := 0
	for range 60 {
		if (hi-lo)*h < 1e-13 {
			break
		}
		u := hi - ghi*(hi-lo)/(ghi-glo)
		if !(u > lo && u < hi) {
			u = (lo + hi) / 2
		}
		y := c.at(u)
		g := p.gap(w, &y)
		if math.Abs(g) < 1e-12 {
			hi = u
			break
		}
		if g > 0 {
			lo, glo = u, g
			if side == 1 {
				ghi /= 2
			}
			side = 1
		} else {
			hi, ghi = u, g
			if side == -1 {
				glo /= 2
			}
			side = -1
		}
	}
	return hi * h
}

// accept keeps the step of h that was tried.
func (p *pilot) accept(h float64) {
	sg := segment{t: p.t, h: h, mode: p.mode, y: p.try.extension(h, &p.y)}
	p.tr.note(p.mode, &p.y, &p.try.k[0], p.t)
	p.tr.segments = append(p.tr.segments, sg)
	p.t += h
	p.y = p.try.y1
	p.tr.note(p.mode, &p.y, &p.try.k[6], p.t)
}

// mark records where the rocket is.
func (p *pilot) mark(m *Mark, ph flight.Phase) {
	*m = Mark{Seen: true, Point: p.point(p.mode, p.t, &p.y, ph)}
}

// whole flies from liftoff to touchdown.
func (p *pilot) whole() error {
	p.mode = p.firstMode()
	p.mark(&p.tr.Marks.Liftoff, flight.Boost)
	if err := p.boost(); err != nil {
		return err
	}
	p.mode = mode{stage: ballistic, rail: p.mode.rail}
	p.mark(&p.tr.Marks.Burnout, flight.Coast)
	if !p.tr.Marks.Touchdown.Seen {
		if err := p.fall(); err != nil {
			return err
		}
	}
	if !p.tr.Marks.Apogee.Seen {
		return errors.New("the rocket does not climb: check thrust, mass and tilt")
	}
	if p.guided > 0 && !p.tr.Marks.RailExit.Seen {
		return fmt.Errorf("the rocket does not leave the rail of %.2f m: more thrust, less mass or a shorter rail", p.guided)
	}
	return nil
}

func (p *pilot) firstMode() mode {
	m := mode{rail: p.guided > 0}
	switch {
	case p.r.Motor != nil:
		m.stage, m.knot = motorBurn, p.knotAt(p.motorLead)
	case p.r.TubeLength > 0:
		m.stage = onTube
	default:
		m.stage = waterJet
	}
	return m
}

// boost runs the stages with thrust.
func (p *pilot) boost() error {
	if p.r.Motor != nil {
		return p.burn()
	}
	if p.mode.stage == onTube {
		if hit, err := p.stage(timeMost, 1e-4, tubeEnd); err != nil || hit == ground {
			return err
		}
	}
	p.mode.stage = waterJet
	p.y[iQ] = (p.r.Volume - p.water/p.rhoWater) / p.r.Volume
	if p.y[iQ] < p.gasEnd/p.r.Volume {
		hit, err := p.stage(timeMost, 1e-3, waterOut, pressure)
		if err != nil || hit == ground {
			return err
		}
		if hit == pressure {
			// The air is spent before the water: what is left is carried on.
			p.gasEnd = p.y[iQ] * p.r.Volume
			p.film = (p.r.Volume - p.gasEnd) * p.rhoWater
			p.p1 = p.bottle(p.gasEnd)
		}
	}
	p.mode.stage, p.y[iQ] = airFlow, 1
	p.mark(&p.tr.Marks.WaterOut, flight.Boost)
	_, err := p.stage(timeMost, 5e-4, pressure)
	p.airLeft = p.gasMass * p.y[iQ]
	return err
}

// burn runs a motor piece by piece of its thrust curve, since the thrust has a
// corner at each point.
func (p *pilot) burn() error {
	c := p.r.Motor.Curve
	for k := p.mode.knot; k+1 < len(c); k++ {
		p.mode.knot = k
		if hit, err := p.stage(c[k+1].T-p.motorLead, 1e-3); err != nil || hit == ground {
			return err
		}
	}
	return nil
}

// stage runs one stage with thrust up to the time end or one of the ends, and
// meets the end of the rail, the top and the ground on the way. It says which
// end it was, or ground.
func (p *pilot) stage(end, h float64, ends ...happening) (happening, error) {
	watch := append([]happening{railEnd, top, ground}, ends...)
	for p.t < end {
		// Two things may happen at once, such as the end of a rail as long as
		// the tube: the second is then already past.
		if p.mode.rail && p.gap(railEnd, &p.y) <= 0 {
			p.leaveRail()
		}
		for _, e := range ends {
			if p.gap(e, &p.y) <= 0 {
				return e, nil
			}
		}
		hit, err := p.run(end, h, watch...)
		if err != nil {
			return hit, err
		}
		switch hit {
		case railEnd:
			p.leaveRail()
		case top:
			p.highest()
		case ground:
			p.mark(&p.tr.Marks.Touchdown, flight.Landed)
			return hit, nil
		default:
			return hit, nil
		}
	}
	return timeUp, nil
}

func (p *pilot) leaveRail() {
	p.mode.rail = false
	p.mark(&p.tr.Marks.RailExit, flight.Boost)
}

// highest records the top, if it is the highest so far: a motor that dips can
// have two.
func (p *pilot) highest() {
	if a := &p.tr.Marks.Apogee; !a.Seen || p.y[iZ] > a.Height {
		p.mark(a, flight.Descent)
	}
}

// fall flies from burnout to touchdown.
func (p *pilot) fall() error {
	release := p.releaseTime()
	h := 0.02
	for p.t < timeMost {
		p.y[iQ] = 0
		hit, err := p.run(math.Min(release, timeMost), h, railEnd, top, ground)
		if err != nil {
			return err
		}
		switch hit {
		case railEnd:
			p.leaveRail()
		case top:
			p.highest()
			if p.y[iZ] > heightMax {
				return fmt.Errorf("apogee of %.0f m is above the %d m for which this model is meant", p.y[iZ], heightMax)
			}
			release = p.releaseTime()
		case ground:
			p.mark(&p.tr.Marks.Touchdown, flight.Landed)
			return nil
		case timeUp:
			if p.t >= timeMost {
				return errors.New("no touchdown within an hour: check mass and parachute")
			}
			return p.descend()
		}
	}
	return nil
}

// releaseTime is when the canopy is let out, +Inf if that is not known or never.
func (p *pilot) releaseTime() float64 {
	if p.canopyArea > 0 {
		switch r := p.r.Release; {
		case r.How == AfterLiftoff:
			return math.Max(r.Seconds, p.t)
		case r.How == AfterApogee && p.tr.Marks.Apogee.Seen:
			return math.Max(p.tr.Marks.Apogee.T+r.Seconds, p.t)
		}
	}
	return math.Inf(1)
}

// descend flies under the canopy: first while it fills, then open.
func (p *pilot) descend() error {
	p.mode = mode{stage: canopyFills}
	p.y[iQ] = 0
	p.mark(&p.tr.Marks.Release, p.phaseNow())
	watch := []happening{top, ground, canopyFul}
	for p.t < timeMost {
		hit, err := p.run(timeMost, 0.01, watch...)
		if err != nil {
			return err
		}
		switch hit {
		case top:
			p.highest()
		case canopyFul:
			p.mode.stage = canopyOpen
		case ground:
			p.mark(&p.tr.Marks.Touchdown, flight.Landed)
			return nil
		}
	}
	return errors.New("no touchdown within an hour: check mass and parachute")
}

func (p *pilot) phaseNow() flight.Phase {
	if p.tr.Marks.Apogee.Seen && p.t >= p.tr.Marks.Apogee.T {
		return flight.Descent
	}
	return flight.Coast
}
