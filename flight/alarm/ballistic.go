package alarm

import (
	"math"

	"padlark/flight/phrase"
)

// ballistic: coming down with nothing that brakes the fall.
type ballistic struct {
	slow     since // braked: the fall is well below free fall
	fast     since // surely faster than free fall, as a vent that errs shows it
	odds     fallOdds
	top, let float64 // the apogee and the release that the odds are for
	latched  bool
}

// mark is a value at a time.
type mark struct{ t, v float64 }

// falseFalls is the rate of false alarms that is stated: one in so many falls under
// a parachute that opens as the rule knows it.
const falseFalls = 300

// fallsAFalse is asked each time, so that a changed configuration needs no default.
func (c Config) fallsAFalse() float64 {
	if c.FallsAFalse > 0 {
		return c.FallsAFalse
	}
	return falseFalls
}

// unsureShare of the free fall is the greatest standard deviation with which a speed
// still says something.
const unsureShare = 0.35

// untoldOpens is the share of the falls under a parachute that opened although the
// board has not released it, where boards tell of it.
const untoldOpens = 0.01

// sureS is how long, in s, after the release should have been told at the latest that
// counts: an apogee may have been dated early.
const sureS = 0.2

// smallFirst is by how much surer the rule must be where it may come down under a small
// parachute first: one that lets it fall at 20 m/s brakes little for two seconds, a vent
// that errs feigns as much, and from so high there is time.
const smallFirst = 100

// How fast, in m/s, and for how long, in s, a fall must be faster than a free one to be
// none that is braked.
const leastFast, fastS = 15.0, 0.7

func (r *ballistic) check(v *view) cond {
	if v.fresh && v.inFlight() {
		r.odds.note(v)
	}
	if v.phase != "descent" || math.IsNaN(v.apogeeAt) || math.IsNaN(v.speed) ||
		r.odds.n == 0 { // known by a satellite receiver alone, which leaps
		r.latched, r.top, r.odds.hyps = false, math.NaN(), nil // they take 50 kB of each rocket
		r.slow.hold(v.t, false)
		r.fast.hold(v.t, false)
		return off
	}
	if !v.fresh {
		return asCond(r.latched)
	}
	let := math.NaN()
	if v.told() {
		let = v.releaseAt
	}
	if r.top != v.apogeeAt || r.let != let && !(math.IsNaN(r.let) && math.IsNaN(let)) {
		r.top, r.let = v.apogeeAt, let
		r.odds.begin(v)
	} else {
		r.odds.weigh()
	}
	near, braked := r.judge(v)
	switch held := r.slow.hold(v.t, r.latched && braked); {
	case !r.latched:
		r.latched = near
	case held > 0.7, r.odds.lead < -math.Log(v.book.cfg.fallsAFalse()):
		r.latched = false
	}
	return asCond(r.latched)
}

// judge says whether the fall is one that no parachute brakes, and whether it is one
// that clearly is braked. What the whole fall tells must agree with how fast it is
// now, by no more than one part in two.
func (r *ballistic) judge(v *view) (near, braked bool) {
	free, _ := v.freeFall()
	braked = v.sink() < math.Max(0.4*free, v.limits.BallisticMps)
	need := math.Log(v.book.cfg.fallsAFalse())
	if v.tellsRelease() && !v.released && v.t > v.releaseBy()+sureS {
		need = math.Log(v.book.cfg.fallsAFalse() * untoldOpens) // what opens is told first
	}
	if v.maybeTwo() {
		need += math.Log(smallFirst)
	}
	// No fall that is braked seems faster than a free one for long, whatever the vent does;
	// one without drag where none is described.
	most := free
	if math.IsInf(v.bodyTerminal(), 1) {
		most = gravity * (v.t - v.apogeeAt)
	}
	if fast := v.sink()-2*v.speedSD > math.Max(most, leastFast); r.fast.hold(v.t, fast) > fastS && !v.awaitsRelease() {
		return true, braked
	}
	near = r.odds.lead > need && r.odds.fits > 0.6 && r.odds.steady() && !v.awaitsRelease() &&
		!(v.speedSD > unsureShare*free) && v.sink() > v.limits.BallisticMps && v.sink() > v.limits.BallisticShare*free
	return near, braked
}

// awaitsRelease says whether the board tells of its release and still has time for
// it: then nothing can be open, and the fall is as it should be.
func (v *view) awaitsRelease() bool {
	return v.tellsRelease() && math.IsNaN(v.releaseAt) && v.s != nil && v.book.seconds(v.s.At) < v.releaseBy()
}

// freeFall is how fast the rocket would fall by now without a parachute, in
// m/s, and how far it would have come, in m. When the body is not described its
// drag is not known: then with the drag that bottles and tubes usually have at
// the least (common practice, no source).
func (v *view) freeFall() (speed, distance float64) {
	t, vt := v.t-v.apogeeAt, v.bodyTerminal()
	if math.IsInf(vt, 1) {
		vt = 20
	}
	return fallSpeed(t, vt), fallDistance(t, vt)
}

func (r *ballistic) words(v *view) words {
	left := fallTime(v.alt, v.sink(), v.bodyTerminal())
	why := "ballistic.unseen"
	switch {
	case v.released:
		why = "ballistic.told"
	case v.rocket.Release == "none":
		why = "ballistic.without"
	case !v.tellsRelease():
		why = "ballistic.unbraked"
	}
	free, _ := v.freeFall()
	say, when := v.tell("ballistic.say"), phrase.Of("ballistic.soon")
	if left > 0 && !math.IsNaN(left) {
		when = phrase.Of("ballistic.when", seconds("left", left, 1))
		say = v.tell("ballistic.say.one", seconds("left", 1, 0))
		if whole := math.Round(left); whole > 1 {
			say = v.tell("ballistic.say.many", seconds("left", whole, 0))
		}
	}
	reason := v.tell("ballistic", mps("speed", v.sink(), 0), heightAt(v.alt), seconds("after", v.t-v.apogeeAt, 1),
		mps("free", free, 0), phrase.In("why", phrase.Of(why)), phrase.In("when", when))
	if math.IsInf(v.bodyTerminal(), 1) {
		reason.Args = append(reason.Args, phrase.In("drag", phrase.Of("ballistic.nodrag")))
	}
	return words{prioLookUp, say, reason}
}
