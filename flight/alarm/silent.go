package alarm

import (
	"math"

	"padlark/flight"
)

// silent: nothing was heard from a rocket for too long.
type silent struct {
	raised bool
	quiet  float64
}

func (r *silent) check(v *view) cond {
	r.quiet = v.t - v.heard
	if v.fresh {
		r.raised = false
		return off
	}
	limit := v.limits.SilentPadS
	switch {
	case v.inFlight():
		limit = v.limits.SilentFlightS
	case v.phase == flight.Landed:
		// People switch a board off when they have found it.
		return asCond(r.raised)
	case v.heard-v.first < 5:
		return off // heard for a moment only: a test, or another field's board
	}
	// A slow board is silent between its frames.
	if v.rocket.RateHz > 0 {
		limit = math.Max(limit, 5/v.rocket.RateHz)
	}
	if r.quiet > limit {
		r.raised = true
	}
	return asCond(r.raised)
}

func (r *silent) words(v *view) words {
	if !v.inFlight() {
		return words{
			priority: prioKnow,
			say:      v.name() + " not heard",
			reason: sprintf("Nothing heard from %s for %.1f s. Is the board on, the cell charged, the antenna in place, the channel right?",
				v.name(), r.quiet),
		}
	}
	under := v.released && v.phase == flight.Descent
	return words{
		priority: prioIf(under, prioAct, prioLookUp),
		say:      v.name() + " silent, look up",
		reason: sprintf("Nothing heard from %s for %.1f s in flight. Last known: %s above the pad, %s. %s Keep it in sight and keep clear; note where it goes down.",
			v.name(), r.quiet, metres(v.alt), motion(v.speed), r.expected(v)),
	}
}

// expected tells when the ground comes, reckoned from the last frame.
func (r *silent) expected(v *view) string {
	if math.IsNaN(v.alt) || math.IsNaN(v.speed) {
		return "Its height is not known."
	}
	body := fallTime(math.Max(0, v.alt), v.sink(), v.bodyTerminal())
	chute := v.parachuteSpeed()
	if math.IsInf(chute, 1) {
		return sprintf("Without a parachute it touches down about %.0f s after the last frame, at %s.", body, clock(later(v.now, v.heard-v.t+body)))
	}
	top, up := math.Max(0, v.alt), 0.0
	if v.speed > 0 {
		rise := 0.0
		up, rise = riseFrom(v.speed, v.bodyTerminal())
		top += rise
	}
	soft := up + top/chute
	return sprintf("Touchdown is expected about %.0f s after the last frame under the parachute (%s), %.0f s without it.",
		soft, clock(later(v.now, v.heard-v.t+soft)), body)
}

// reboot: the board started again.
type reboot struct {
	started bool
	boot    uint32
	phase   flight.Phase // at the check before, for the tracker may begin anew
	until   float64
	flying  bool
	alt     float64
}

func (r *reboot) check(v *view) cond {
	if !v.fresh {
		if r.flying {
			return unsure
		}
		return asCond(v.t < r.until)
	}
	defer func() { r.phase = v.phase }()
	if !r.started {
		r.started, r.boot = true, v.s.Boot
		return off
	}
	if v.s.Boot > r.boot { // starts only count up; going back is another board's
		r.boot = v.s.Boot
		was := r.phase == flight.Boost || r.phase == flight.Coast || r.phase == flight.Descent
		r.flying, r.alt = was || v.inFlight(), v.alt
		r.until = v.t + 10
	}
	if v.phase == flight.Landed {
		r.flying = false
	}
	return asCond(v.t < r.until || r.flying && v.inFlight())
}

func (r *reboot) words(v *view) words {
	if !r.flying {
		return words{
			priority: prioKnow,
			say:      v.name() + " board started again",
			reason: sprintf("%s's board started again (start %d). If nobody switched it, look for a loose plug, a tired cell, or a servo that draws too much.",
				v.name(), r.boot),
		}
	}
	return words{
		priority: prioLookUp,
		say:      v.name() + " board started again in flight, look up",
		reason: sprintf("%s's board started again in flight, at %s (start %d). It has lost its pad level and may not release the parachute. Look up and keep clear.",
			v.name(), metres(r.alt), r.boot),
	}
}
