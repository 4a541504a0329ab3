package alarm

import (
	"math"

	"padlark/flight"
	"padlark/flight/phrase"
)

// Pulses that every hobby servo takes unless its builder says otherwise, us:
// 1000 to 2000 is common practice, one maker's sheet allows 500 to 2500. No
// formal standard exists.
const (
	pulseMinUs = 500
	pulseMaxUs = 2500
)

// servoRange: the release pulse leaves its safe range.
type servoRange struct {
	out   int
	until float64
	worst float64
}

func (r *servoRange) check(v *view) cond {
	if !v.fresh {
		return asCond(v.t < r.until)
	}
	lo, hi := pulseLimits(&v.rocket)
	// A pulse of 0 is a servo that is not driven.
	if !math.IsNaN(v.pulse) && v.pulse > 0 && (v.pulse < lo-2 || v.pulse > hi+2) {
		r.out++
		if r.out == 1 || math.Abs(v.pulse-(lo+hi)/2) > math.Abs(r.worst-(lo+hi)/2) {
			r.worst = v.pulse
		}
		if r.out >= 2 {
			r.until = v.t + 5
		}
	} else {
		r.out = 0
	}
	return asCond(v.t < r.until)
}

// pulseLimits are the shortest and the longest pulse in us that a rocket's
// servo may get.
func pulseLimits(r *flight.Rocket) (lo, hi float64) {
	lo, hi = pulseMinUs, pulseMaxUs
	if r.ReleaseMinUs > 0 {
		lo = r.ReleaseMinUs
	}
	if r.ReleaseMaxUs > 0 {
		hi = r.ReleaseMaxUs
	}
	return lo, hi
}

func (r *servoRange) words(v *view) words {
	lo, hi := pulseLimits(&v.rocket)
	return words{prioAct, v.tell("servo-range.say"), v.tell("servo-range", pulse("pulse", r.worst), pulse("low", lo), pulse("high", hi))}
}

// pulse is a servo's pulse in us for a sentence.
func pulse(name string, us float64) phrase.Arg { return phrase.Qty(name, us, 0, "us") }

// servoMoving: the release moves, or stands open, while the rocket waits.
type servoMoving struct {
	rest    float64 // the pulse it settled at, us; 0 none yet
	restAt  float64 // since when the present pulse has stood
	last    float64
	until   float64
	from    float64
	to      float64
	opened  bool
	unrest  since
	outside since
}

func (r *servoMoving) check(v *view) cond {
	if v.phase != flight.Waiting {
		*r = servoMoving{}
		return off
	}
	if v.fresh {
		r.look(v)
	}
	return asCond(v.t < r.until)
}

// movedHoldS is how long the servo must be away from its rest, in s: longer
// than a tracker takes to call a liftoff in which the release opens.
const movedHoldS = 0.35

func (r *servoMoving) look(v *view) {
	// servo-range speaks of pulses that no servo should get.
	lo, hi := pulseLimits(&v.rocket)
	inside := v.pulse >= lo && v.pulse <= hi
	if inside {
		r.follow(v)
	}
	// Open on the pad, as told by the command or by the pulse.
	if r.outside.hold(v.t, v.released || inside && v.open()) > movedHoldS {
		if v.t >= r.until {
			r.opened, r.from, r.to = true, r.rest, v.pulse
		}
		r.until = v.t + 3
	}
}

// follow compares the pulse with where it rested.
func (r *servoMoving) follow(v *view) {
	if r.rest == 0 {
		r.rest = v.pulse
		if v.rocket.ReleaseRestUs > 0 && !v.open() {
			r.rest = v.rocket.ReleaseRestUs
		}
	}
	if math.Abs(v.pulse-r.last) > v.limits.ServoMoveUs/2 {
		r.restAt = v.t
	}
	r.last = v.pulse
	if math.Abs(v.pulse-r.rest) > v.limits.ServoMoveUs {
		if r.unrest.hold(v.t, true) > movedHoldS {
			if v.t >= r.until {
				r.opened, r.from, r.to = false, r.rest, v.pulse
			}
			r.until = v.t + 3
		}
		// It stands elsewhere now: that is the new rest, unless the rocket's
		// own is known.
		if v.rocket.ReleaseRestUs <= 0 && v.t-r.restAt > 5 {
			r.rest = v.pulse
		}
		return
	}
	r.unrest.hold(v.t, false)
}

func (r *servoMoving) words(v *view) words {
	if r.opened {
		return words{prioAct, v.tell("servo-moving.say.open"), v.tell("servo-moving.open", pulse("pulse", v.pulse))}
	}
	return words{prioAct, v.tell("servo-moving.say"), v.tell("servo-moving", pulse("from", r.from), pulse("to", r.to))}
}

// servoOn: the servo still pulls on its stop after the landing.
type servoOn struct {
	rest    smoothed // the supply before the flight
	mean    smoothed // the supply now
	ripple  smoothed // mean size of its steps from reading to reading
	padStep smoothed // the same on the pad
	last    float64
	started bool
	gate    gate
	landed  since
}

func (r *servoOn) check(v *view) cond {
	if !v.fresh || math.IsNaN(v.cellV) {
		return unsure
	}
	step := math.Abs(v.cellV - r.last)
	if !r.started {
		step = 0
	}
	r.last, r.started = v.cellV, true
	if v.phase == flight.Waiting {
		r.rest.add(v.t, v.cellV, 3)
		r.padStep.add(v.t, step, 3)
	}
	if v.phase != flight.Landed || !r.rest.started {
		r.gate, r.mean, r.ripple = gate{}, smoothed{}, smoothed{}
		r.landed.hold(v.t, false)
		return off
	}
	down := r.landed.hold(v.t, true)
	mean := r.mean.add(v.t, v.cellV, 0.7)
	ripple := r.ripple.add(v.t, step, 0.7)
	return r.gate.step(v.t, down > v.limits.ServoOffS && r.pulled(v, mean, ripple), 1.5, 2)
}

// pulled says whether the supply shows a driven servo: it is pulled down, or
// pulled at again and again. While the pulse tells that the servo is driven
// open, little is enough; when it is told as closed or off, only the pulling
// counts, for a supply is lower after a flight anyway.
func (r *servoOn) pulled(v *view, mean, ripple float64) bool {
	cells := math.Max(1, v.supply.cells)
	if v.supply.known() && mean < v.supply.cutoff {
		return false // cell-flat speaks
	}
	if ripple > 0.02*cells+2*r.padStep.value {
		return true
	}
	driven := v.open() || v.pulse > 0 && v.rocket.ReleaseRestUs <= 0
	return driven && mean < r.rest.value-0.05*cells
}

func (r *servoOn) words(v *view) words {
	told := phrase.Of("servo-on.untold")
	if v.pulse > 0 {
		told = phrase.Of("servo-on.pulse", pulse("pulse", v.pulse))
	}
	return words{prioAct, v.tell("servo-on.say"), v.tell("servo-on", volts("now", r.mean.value), volts("before", r.rest.value), volts("step", r.ripple.value), phrase.In("pulse", told))}
}
