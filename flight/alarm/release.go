package alarm

import (
	"math"

	"padlark/flight/phrase"
)

// noRelease: the board has not commanded its release within the delay after
// the apogee.
type noRelease struct{}

func (r *noRelease) check(v *view) cond {
	if v.phase != "descent" || math.IsNaN(v.apogeeAt) || !v.tellsRelease() {
		return off
	}
	// Only what was measured after the delay tells: a frame later the release may be
	// in it, and after silence it may not have been heard (silent speaks).
	if !v.fresh {
		return unsure
	}
	return asCond(!v.released && v.book.seconds(v.s.At) > v.releaseBy())
}

// releaseBy is when a release must have been measured.
func (v *view) releaseBy() float64 {
	return v.apogeeAt + v.releaseDelay() + math.Max(releaseSlack, v.laterBy(releaseSDs))
}

// laterBy is how much later than it is dated the apogee may have been, in s: so many of
// its standard deviations, and not after it was called.
func (v *view) laterBy(sds float64) float64 {
	if !(v.apogeeSD > 0) || math.IsNaN(v.calledAt) {
		return 0
	}
	return math.Max(0, math.Min(sds*v.apogeeSD, v.calledAt-v.apogeeAt))
}

// releaseSlack is what reading and sending the release may take, in s; releaseSDs by
// how many standard deviations the apogee may have been later.
const releaseSlack, releaseSDs = 0.1, 3.0

func (r *noRelease) words(v *view) words {
	left := fallTime(v.alt, v.sink(), v.bodyTerminal())
	return words{prioLookUp, v.tell("no-release.say"), v.tell("no-release", seconds("after", v.t-v.apogeeAt, 1),
		seconds("expected", v.releaseDelay(), 1), heightAt(v.alt), motion(v.speed), seconds("left", left, 1))}
}

// earlyRelease: the release came while the rocket still climbed.
type earlyRelease struct {
	since   since // how long the release has been told as open
	raised  bool
	speed   float64
	ahead   float64 // s before the predicted apogee
	boost   bool
	pending since
	before  lead // the last that was known before the release was told
}

// lead is how long before the apogee a moment was, in s.
type lead struct{ t, ahead, sd float64 }

// beforeS is how long in s what was foretold before the release is believed. The nose
// that comes off makes a pulse of pressure: what is reckoned with it says little.
const beforeS = 1.0

func (r *earlyRelease) check(v *view) cond {
	open := r.since.hold(v.t, v.released)
	if !v.inFlight() {
		r.raised, r.before = false, lead{}
		r.pending.hold(v.t, false)
		return off
	}
	if r.raised || !v.fresh {
		return asCond(r.raised)
	}
	// A release that stood open long before the liftoff is a servo left open
	// on the pad, and servo-moving has told so.
	if !v.released || !v.climbing() || v.t-open < v.liftoffAt-0.5 {
		r.pending.hold(v.t, false)
		if !v.released {
			r.before = lead{}
			if v.climbing() && v.phase != "boost" {
				r.before = v.lead()
			}
		}
		return off
	}
	// From here on: released and climbing. How long before the apogee was it?
	now := v.lead()
	ahead, sd := now.ahead, now.sd
	if b := r.before; b.t > 0 && v.t-open-b.t < beforeS {
		ahead, sd = b.ahead-(v.t-open-b.t), b.sd
	}
	early := v.phase == "boost" || ahead-2*sd > v.limits.EarlyReleaseS
	// A release that is still followed by climbing after so long was early
	// whatever the prediction said.
	if r.pending.hold(v.t, true) > v.limits.EarlyReleaseS && v.speed-2*v.speedSD > 1 {
		early = true
		ahead = math.Max(ahead, v.limits.EarlyReleaseS)
	}
	if early {
		r.raised, r.speed, r.ahead, r.boost = true, v.speed, ahead, v.phase == "boost"
	}
	return asCond(r.raised)
}

// lead is how long before the apogee it is now.
func (v *view) lead() lead {
	f := lead{v.t, v.toApogee, v.toApogeeSD}
	if math.IsNaN(f.ahead) {
		f.ahead, f.sd = v.speed/gravity, v.speedSD/gravity
	}
	if math.IsNaN(f.sd) {
		f.sd = 0
	}
	return f
}

func (r *earlyRelease) words(v *view) words {
	when := phrase.Of("early-release.ahead", seconds("ahead", r.ahead, 1))
	if r.boost {
		when = phrase.Of("early-release.boost")
	}
	return words{prioLookUp, v.tell("early-release.say"), v.tell("early-release", phrase.In("when", when), heightAt(v.alt), motion(r.speed))}
}
