package alarm

import (
	"math"

	"padlark/flight"
	"padlark/flight/phrase"
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
	quiet := seconds("quiet", r.quiet, 1)
	if !v.inFlight() {
		return words{prioKnow, v.tell("silent.say.pad"), v.tell("silent.pad", quiet)}
	}
	under := v.released && v.phase == flight.Descent
	return words{prioIf(under, prioAct, prioLookUp), v.tell("silent.say"),
		v.tell("silent", quiet, heightAt(v.alt), motion(v.speed), phrase.In("expected", r.expected(v)))}
}

// expected tells when the ground comes, reckoned from the last frame.
func (r *silent) expected(v *view) phrase.Phrase {
	if math.IsNaN(v.alt) || math.IsNaN(v.speed) {
		return phrase.Of("silent.nowhere")
	}
	body := fallTime(math.Max(0, v.alt), v.sink(), v.bodyTerminal())
	chute := v.parachuteSpeed()
	if math.IsInf(chute, 1) {
		return phrase.Of("silent.body", seconds("body", body, 0), clock("at", later(v.now, v.heard-v.t+body)))
	}
	top, up := math.Max(0, v.alt), 0.0
	if v.speed > 0 {
		rise := 0.0
		up, rise = riseFrom(v.speed, v.bodyTerminal())
		top += rise
	}
	soft := up + top/chute
	return phrase.Of("silent.both", seconds("soft", soft, 0), clock("at", later(v.now, v.heard-v.t+soft)), seconds("body", body, 0))
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
	boot := count("boot", int(r.boot))
	if !r.flying {
		return words{prioKnow, v.tell("reboot.say.pad"), v.tell("reboot.pad", boot)}
	}
	return words{prioLookUp, v.tell("reboot.say"), v.tell("reboot", heightAt(r.alt), boot)}
}
