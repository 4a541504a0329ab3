package alarm

import "math"

// ballistic: coming down at a speed near free fall when a parachute should
// have braked it.
type ballistic struct {
	slow    since   // braked: the fall is well below free fall
	speed   [3]mark // sink rates about 0.2 s apart, newest last
	latched bool
}

// mark is a value at a time.
type mark struct{ t, v float64 }

func (r *ballistic) check(v *view) cond {
	if v.phase != "descent" || math.IsNaN(v.apogeeAt) || math.IsNaN(v.speed) {
		r.latched, r.speed = false, [3]mark{}
		r.slow.hold(v.t, false)
		return off
	}
	if !v.fresh {
		return asCond(r.latched)
	}
	if v.t-r.speed[2].t >= 0.2 {
		r.speed = [3]mark{r.speed[1], r.speed[2], {v.t, v.sink()}}
	}
	fell := v.t - v.apogeeAt
	free := fallSpeed(fell, v.bodyTerminal())
	near := v.sink() > v.limits.BallisticShare*free && v.sink() > v.limits.BallisticMps
	if r.latched {
		// Back to normal once a parachute has clearly braked the fall.
		braked := v.sink() < math.Max(0.4*free, v.limits.BallisticMps) && !near
		if r.slow.hold(v.t, braked) > 0.7 {
			r.latched = false
		}
		return asCond(r.latched)
	}
	r.latched = near && v.t >= r.due(v) && !r.braking(v) && r.sure(v, free)
	return asCond(r.latched)
}

// due is when a parachute should have braked the fall: the release delay after
// the apogee, or when the release came, the time to open after it.
func (r *ballistic) due(v *view) float64 {
	due := v.apogeeAt + v.releaseDelay()
	if v.rocket.Release == "none" {
		return due
	}
	if !math.IsNaN(v.releaseAt) {
		return math.Max(v.releaseAt, v.apogeeAt) + v.limits.InflateS
	}
	if !v.tellsRelease() {
		// Nobody says whether the release has come: leave it the time to open
		// if it came at the end of the delay.
		return due + v.limits.InflateS/2
	}
	return due
}

// braking says that the fall is getting slower, as under an opening parachute;
// in free fall it grows by 2 m/s in each 0.2 s.
func (r *ballistic) braking(v *view) bool {
	old := r.speed[1]
	return old.t > 0 && v.sink() < old.v-0.5
}

// sure says that the speed is above the bound by twice its own uncertainty, or
// that the fall leaves no time to wonder.
func (r *ballistic) sure(v *view, free float64) bool {
	sd := v.speedSD
	if math.IsNaN(sd) {
		sd = 0
	}
	return v.sink()-2*sd > v.limits.BallisticShare*free*0.8
}

func (r *ballistic) words(v *view) words {
	left := fallTime(v.alt, v.sink(), v.bodyTerminal())
	why := "no release was seen"
	switch {
	case v.released:
		why = "the release was told, but nothing brakes the fall"
	case v.rocket.Release == "none":
		why = "it has no release"
	case !v.tellsRelease():
		why = "nothing brakes the fall"
	}
	say := v.name() + " ballistic, look up"
	when := "any moment"
	if left > 0 && !math.IsNaN(left) {
		when = sprintf("in about %.1f s", left)
		say = sprintf("look up! %s ballistic, %.0f seconds", v.name(), math.Max(1, math.Round(left)))
	}
	drag := ""
	if math.IsInf(v.bodyTerminal(), 1) {
		drag = " (without drag: mass, diameter or cd is not given)"
	}
	return words{
		priority: prioLookUp,
		say:      say,
		reason: sprintf("%s comes down at %.0f m/s from %s, %.1f s after its apogee; free fall would be %.0f m/s, and %s. Impact %s%s. Look up, point at it, move away from under it, and keep people behind cover until it is down.",
			v.name(), v.sink(), metres(v.alt), v.t-v.apogeeAt, fallSpeed(v.t-v.apogeeAt, v.bodyTerminal()), why, when, drag),
	}
}
