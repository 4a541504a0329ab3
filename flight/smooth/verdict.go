package smooth

import (
	"math"
	"sort"

	"padlark/flight"
	"padlark/flight/phrase"
)

// Limits of the verdict (common practice, no source).
const (
	hardMps  = 8.0  // sink rate above which a landing is hard
	earlyLag = -0.3 // s after the apogee: a release before strains the parachute
	usualS   = 1.0  // that may pass until the release where the builder says nothing
)

// From the command until the cloth is in the air: a servo's travel, a flap, lines that
// stretch (common practice, no source). A board that does not tell its release is not
// blamed for that.
const outMeanS, outSpreadS = 0.2, 0.08

// A thing is said when it is surely so, and called open when it may be. What is inferred
// from readings must be the surer: those of a vent that errs imitate a canopy.
const (
	surely         = 0.95
	surelyInferred = 0.99
	maybe          = 0.5
)

// verdict is a level and a reason. Every figure in it is one of the result's, or a
// speed that the readings show.
func (a *analysis) verdict() (flight.Level, phrase.Phrase) {
	o := &a.out
	delay := a.cfg.Rocket.ReleaseDelayS
	if delay == 0 {
		delay = usualS
	}
	if last, lost := a.lostClimbing(); lost {
		return flight.Look, phrase.Of("lost", phrase.Qty("height", last, 0, "m"))
	}
	late, early, sure := a.chanceLater(delay), 1-a.chanceLater(earlyLag), surely
	if a.belief.ok && a.fit != nil {
		// The command came before the cloth was in the air, by so much.
		late, sure = a.belief.later(delay+outMeanS+2*outSpreadS), surelyInferred
	}
	switch {
	case o.ApogeeAt == nil:
		return flight.Look, phrase.Of("top-unheard")
	case a.fit != nil && a.m.told && !math.IsNaN(a.m.touchdown) && !a.opened():
		return flight.Bad, phrase.Of("not-slowed", a.fall())
	case !a.slowedDown():
		if o.TouchdownAt == nil {
			return flight.Look, phrase.Of("release-unseen")
		}
		return flight.Bad, phrase.Of("no-parachute", a.fall())
	case late > sure:
		return flight.Bad, phrase.Of("release-at", a.lag(), a.speed(false))
	case early > sure:
		return flight.Look, phrase.Of("release-at", a.lag(), a.speed(true))
	case late > maybe:
		return flight.Look, phrase.Of("release-late-or-not", a.lag(), phrase.Qty("limit", delay, 1, "s"))
	case early > maybe:
		return flight.Look, phrase.Of("release-early-or-not", a.lag())
	case o.DescentMps != nil && *o.DescentMps > hardMps:
		return flight.Look, phrase.Of("hard-landing", a.sink())
	case o.TouchdownAt == nil:
		return flight.Look, phrase.Of("landing-unheard")
	case o.DescentMps == nil:
		return flight.Look, phrase.Of("sink-unknown")
	case o.ReleaseLagS == nil && !(a.belief.ok && a.fit != nil):
		return flight.Look, phrase.Of("release-unknown", a.sink())
	}
	return flight.Good, phrase.Of("well", a.lag(), a.sink(), a.stages())
}

// sink is the sink rate under the parachute.
func (a *analysis) sink() phrase.Arg {
	return phrase.PlusMinus("sink", *a.out.DescentMps, a.out.DescentSD, "m/s")
}

// chanceLater is the probability that the release was later than so long after the
// apogee; 0 where nothing is known of it.
func (a *analysis) chanceLater(lag float64) float64 {
	o := &a.out
	if a.belief.ok && a.fit != nil {
		return a.belief.later(lag)
	}
	if o.ReleaseLagS == nil {
		if lag < 0 {
			return 1
		}
		return 0
	}
	sd := 1e-3
	if o.ReleaseLagSD != nil {
		sd = max(sd, *o.ReleaseLagSD)
	}
	return 0.5 * math.Erfc((lag-*o.ReleaseLagS)/(sd*math.Sqrt2))
}

// slowedDown says whether it came down on a parachute as far as anybody knows.
func (a *analysis) slowedDown() bool {
	o := &a.out
	if a.fit == nil {
		return o.ReleaseAt != nil || o.DescentMps != nil
	}
	return o.ReleaseAt != nil || a.belief.ok && a.opened() || a.sank()
}

// sank says whether the readings themselves end in a sink that no bare fall from that
// height has.
func (a *analysis) sank() bool {
	if math.IsNaN(a.m.touchdown) || math.IsNaN(a.m.apogee) || a.out.ApogeeM == nil {
		return false
	}
	to := a.m.touchdown - 0.3
	v := a.r.fastest(math.Max(a.m.apogee, to-sankS), to-supportS/2, false)
	return v < sankMps && v < sankPart*math.Sqrt(2*gravity*math.Max(*a.out.ApogeeM, 0))
}

// What a sink is that ends a flight: how long before the ground it is looked at, s;
// its speed, and as a part of that of a fall without drag.
const (
	sankS    = 2.0
	sankMps  = 12.0
	sankPart = 0.6
)

// lag is when it was released, with two explanations where two are alive.
func (a *analysis) lag() phrase.Arg {
	o := &a.out
	p := phrase.Of("lag-unknown")
	first, second, both := a.belief.two()
	switch {
	case both && a.fit != nil:
		p = phrase.Of("lag-either", side("first", first.lag, first.sd), phrase.Qty("first_share", 100*first.p, 0, "%"),
			side("second", second.lag, second.sd), phrase.Qty("second_share", 100*second.p, 0, "%"))
	case o.ReleaseLagS != nil:
		sd := 0.0
		if o.ReleaseLagSD != nil {
			sd = *o.ReleaseLagSD
		}
		p = phrase.Of("lag", side("side", *o.ReleaseLagS, sd))
	case a.belief.ok && a.fit != nil:
		lo, hi := a.belief.lag-1.96*a.belief.sd, a.belief.lag+1.96*a.belief.sd
		p = phrase.Of("lag-between", side("low", lo, 0), side("high", hi, 0))
		if lo < 0 && hi > 0 {
			p = phrase.Of("lag-around", phrase.Qty("before", -lo, 1, "s"), phrase.Qty("after", hi, 1, "s"))
		}
	}
	return phrase.In("lag", p)
}

// side is a time before or after.
func side(name string, lag, sd float64) phrase.Arg {
	key := "side-after"
	if lag < 0 {
		key, lag = "side-before", -lag
	}
	told := &sd
	if sd == 0 {
		told = nil
	}
	return phrase.In(name, phrase.Of(key, phrase.PlusMinus("lag", lag, told, "s")))
}

// Two explanations are alive when each has this probability, and they lie this far
// apart: in s, and in standard deviations of both.
const (
	alive     = 0.15
	apartS    = 0.6
	apartSDs  = 3.0
	roundedTo = 0.005 // s, what two digits hide
)

// two divides the chances where they part into two groups, if they do.
func (b *belief) two() (first, second chance, both bool) {
	if !b.ok {
		return first, second, false
	}
	all := append([]chance(nil), b.chances...)
	sort.SliceStable(all, func(i, j int) bool { return all[i].lag < all[j].lag })
	for k := 1; k < len(all); k++ {
		lo, hi := together(all[:k]), together(all[k:])
		apart := hi.lag - lo.lag
		if lo.p > alive && hi.p > alive && apart > apartS && apart > apartSDs*math.Hypot(lo.sd, hi.sd) {
			if lo.p >= hi.p {
				return lo, hi, true
			}
			return hi, lo, true
		}
	}
	return first, second, false
}

// together is what a group of chances says: its mean, its spread, and their
// probability.
func together(c []chance) chance {
	var g chance
	for _, x := range c {
		g.p += x.p
		g.lag += x.p * x.lag
	}
	if g.p == 0 {
		return g
	}
	g.lag /= g.p
	for _, x := range c {
		g.sd += x.p * (sq(x.lag-g.lag) + sq(x.sd)) / g.p
	}
	g.sd = math.Max(math.Sqrt(g.sd), roundedTo)
	return g
}

// speed is the vertical speed at the release, if the readings show one like it.
func (a *analysis) speed(up bool) phrase.Arg {
	if a.fit == nil || a.out.ReleaseAt == nil {
		return phrase.Arg{}
	}
	at := a.out.ReleaseAt.Sub(a.r.ref).Seconds()
	_, v := a.fit.path.at(&a.fit.q, at)
	v *= 1 + a.fit.q[pScale]
	shown := a.r.fastest(at-supportS, at+supportS, up)
	if up != (v > 0) || math.Abs(v) > shown+gravity*supportS/2+1 {
		return phrase.Arg{}
	}
	way := "speed-down"
	if up {
		way = "speed-up"
	}
	return phrase.In("speed", phrase.Of(way, phrase.Qty("speed", math.Abs(v), 0, "m/s")))
}

// fall is how fast a fall became that nothing slowed, as the readings show it.
func (a *analysis) fall() phrase.Arg {
	if math.IsNaN(a.m.apogee) {
		return phrase.Arg{}
	}
	v := a.r.fastest(a.m.apogee, orElse(a.m.touchdown, a.r.t[len(a.r.t)-1])-supportS/2, false)
	if v < 2 {
		return phrase.Arg{}
	}
	return phrase.In("fall", phrase.Of("fall", phrase.Qty("speed", v, 0, "m/s")))
}

// stages tells of a faster descent before the last.
func (a *analysis) stages() phrase.Arg {
	if a.fit == nil || !a.fit.path.stages {
		return phrase.Arg{}
	}
	v := math.Sqrt(gravity / math.Exp(a.fit.q[pCanopy]))
	return phrase.In("stages", phrase.Of("stages", phrase.Qty("speed", v, 0, "m/s")))
}
