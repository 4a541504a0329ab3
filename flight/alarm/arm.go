package alarm

import (
	"math"

	"padlark/flight"
	"padlark/flight/phrase"
)

// notArmed: the board's apogee rule is not armed when it should be, so that
// it will not release.
type notArmed struct{ gate gate }

func (r *notArmed) check(v *view) cond {
	if !v.climbing() || math.IsNaN(v.armed) || math.IsNaN(v.liftoffAt) || v.released {
		if v.phase == flight.Descent && v.armed == 0 {
			return unsure
		}
		r.gate = gate{}
		return off
	}
	if !v.fresh {
		return unsure
	}
	within := v.limits.ArmWithinS
	if v.limits.Arms == armsOnPad {
		within = 0.2
	} else if !math.IsNaN(v.toApogee) && v.toApogee < 0.5 {
		within = 0 // no time left to wait
	}
	return r.gate.step(v.t, v.armed == 0 && v.t-v.liftoffAt > within, 0.1, 0.1)
}

func (r *notArmed) words(v *view) words {
	return words{prioLookUp, v.tell("not-armed.say"), v.tell("not-armed", seconds("after", v.t-v.liftoffAt, 1))}
}

// armedEarly: the apogee rule is armed while it should not be, so that a gust
// on the pad may open the release.
type armedEarly struct{ gate gate }

func (r *armedEarly) check(v *view) cond {
	if v.phase != flight.Waiting || math.IsNaN(v.armed) {
		r.gate = gate{}
		return off
	}
	if !v.fresh {
		return unsure
	}
	// A board knows of its liftoff before the tracker does: it must still be at
	// the pad's level.
	early := v.armed == 1 && !(math.Abs(v.alt) > 3+3*v.altSD)
	if v.limits.Arms == armsOnPad {
		// A board needs some seconds to know its pad level.
		early = early && v.s.Clock >= 0 && v.s.Clock < settleUs
	}
	return r.gate.step(v.t, early, armedHoldS, 0.5)
}

// armedHoldS is how long it must be armed, in s: longer than any tracker takes
// to call a liftoff.
const armedHoldS = 1.6

// settleUs is how long after its start, in us, a board should look at the pad
// before it is armed (common practice, no source).
const settleUs = 3e6

func (r *armedEarly) words(v *view) words {
	why := "armed-early.after-liftoff"
	if v.limits.Arms == armsOnPad {
		why = "armed-early.settle"
	}
	return words{prioAct, v.tell("armed-early.say"), v.tell("armed-early", phrase.In("why", phrase.Of(why)))}
}
