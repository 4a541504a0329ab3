package alarm

import (
	"math"

	"padlark/flight"
)

// settleS is how long a rocket must be heard at rest before it may fly, in s:
// the tracker needs as much to know the pad's level and noise.
const settleS = 5

// relearnS is after how long a silence on the ground the tracker learns the pad
// anew (see flight/track).
const relearnS = 30

// NotYet lists in plain words what still keeps a rocket from flying, the most
// important first; empty means go. It is also the answer for rockets that
// nobody has heard or configured. The caller owns the slice.
func (b *Book) NotYet(rocket string) []string {
	e := b.entries[rocket]
	if e == nil {
		return []string{"not configured and not heard yet"}
	}
	v := &e.view
	if math.IsNaN(v.first) {
		return []string{"not heard yet: switch the board on, check channel and id"}
	}
	now := b.seconds(b.now)
	var out []string
	switch {
	case v.inFlight():
		return []string{"in flight"}
	case v.phase == flight.Landed:
		out = append(out, "landed: fetch it, switch it off and make it ready again")
	}
	if quiet := now - v.heard; quiet > 2+5/math.Max(1, v.rocket.RateHz) {
		out = append(out, sprintf("not heard for %.0f s", quiet))
	}
	for _, s := range e.live {
		if s.Active && s.Priority != flight.Know && s.Kind != "silent" {
			out = append(out, s.Reason)
		}
	}
	return append(out, e.notReady(now)...)
}

// notReady lists what is missing that no alarm speaks of.
func (e *entry) notReady(now float64) []string {
	var out []string
	v := &e.view
	if !v.known {
		out = append(out, sprintf("nobody has configured a rocket called %s: add a [[rocket]] with its id, mass and parachute", e.name))
	}
	if v.phase == flight.Waiting && now-v.anew < settleS {
		out = append(out, sprintf("learning the pad's level: %.0f s more at rest", math.Ceil(settleS-(now-v.anew))))
	}
	if math.IsNaN(v.pressure) {
		out = append(out, "no pressure heard: its layout has no pressure_pa, or the sensor is missing")
	}
	if v.limits.Arms == armsOnPad && v.armed == 0 && v.phase == flight.Waiting {
		out = append(out, "not armed: throw the arming switch last, with everybody behind the line")
	}
	return out
}
