package alarm

import (
	"math"

	"padlark/flight"
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
	lo, hi := pulseLimits(v.rocket)
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
func pulseLimits(r flight.Rocket) (lo, hi float64) {
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
	lo, hi := pulseLimits(v.rocket)
	return words{
		priority: prioAct,
		say:      v.name() + " servo pulse out of range",
		reason: sprintf("%s drives its servo with %.0f us; it must stay between %.0f and %.0f us. Beyond its stop a servo stalls, heats up, and empties the cell. Correct the pulses in the firmware, or release_min_us and release_max_us if the servo allows more.",
			v.name(), r.worst, lo, hi),
	}
}

// servoMoving: the release moves, or stands open, while the rocket waits.
type servoMoving struct {
	rest    float64 // the pulse it settled at, us; 0 none yet
	restAt  float64 // since when the present pulse has stood
	last    float64
	until   float64
	from    float64
	to      float64
	opened  bool
	unrest  int
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

func (r *servoMoving) look(v *view) {
	if !math.IsNaN(v.pulse) && v.pulse > 0 {
		r.follow(v)
	}
	// Open on the pad, as told by the command or by the pulse.
	if r.outside.hold(v.t, v.released || v.open()) > 0.3 {
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
		r.unrest++
		if r.unrest >= 2 {
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
	r.unrest = 0
}

func (r *servoMoving) words(v *view) words {
	if r.opened {
		return words{
			priority: prioAct,
			say:      v.name() + " release is open on the pad",
			reason: sprintf("%s's release stands open on the pad (pulse %.0f us). Do not launch. Close it, pack the parachute again, and find out what commanded it.",
				v.name(), v.pulse),
		}
	}
	return words{
		priority: prioAct,
		say:      v.name() + " servo moves on the pad",
		reason: sprintf("%s's release servo went from %.0f to %.0f us while the rocket waits on the pad. If nobody is testing it, do not launch: look for a loose signal wire, a weak cell, or an apogee rule that fires in gusts.",
			v.name(), r.from, r.to),
	}
}

// servoOn: the servo still pulls on its stop after the landing.
type servoOn struct {
	rest    smoothed // the supply before the flight
	mean    smoothed // the supply now
	ripple  smoothed // mean size of its steps from reading to reading
	padStep smoothed // the same on the pad
	last    float64
	started bool
	best    float64 // the highest mean since the landing
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
		r.gate, r.mean, r.ripple, r.best = gate{}, smoothed{}, smoothed{}, 0
		r.landed.hold(v.t, false)
		return off
	}
	down := r.landed.hold(v.t, true)
	mean := r.mean.add(v.t, v.cellV, 0.7)
	ripple := r.ripple.add(v.t, step, 0.7)
	cells := math.Max(1, v.supply.cells)
	// A driven servo shows as a supply that is pulled down, or that is pulled
	// at again and again.
	pulled := mean < r.rest.value-0.12*cells || ripple > 0.05*cells+2*r.padStep.value
	return r.gate.step(v.t, down > 1 && pulled, 1.5, 2)
}

func (r *servoOn) words(v *view) words {
	pulse := "its pulse is not told"
	if v.pulse > 0 {
		pulse = sprintf("the pulse is still %.0f us", v.pulse)
	}
	return words{
		priority: prioAct,
		say:      v.name() + " servo still pulls, unplug it",
		reason: sprintf("%s lies on the ground and its supply is still loaded: %.2f V now, %.2f V before the flight, with steps of %.2f V; %s. The servo pulls against something: it heats up and empties the cell. Unplug it soon, and free the linkage.",
			v.name(), r.mean.value, r.rest.value, r.ripple.value, pulse),
	}
}
