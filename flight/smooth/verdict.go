package smooth

import (
	"fmt"
	"math"
	"sort"
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

// A thing is said when it is surely so, and called open when it may be.
const (
	surely = 0.95
	maybe  = 0.5
)

// verdict is one word and a reason. Every figure in it is one of the result's, or a
// speed that the readings show.
func (a *analysis) verdict() string {
	o := &a.out
	delay := a.cfg.Rocket.ReleaseDelayS
	if delay == 0 {
		delay = usualS
	}
	if last, lost := a.lostClimbing(); lost {
		return lostWords(last)
	}
	late, early := a.chanceLater(delay), 1-a.chanceLater(earlyLag)
	if a.belief.ok && a.fit != nil {
		// The command came before the cloth was in the air, by so much.
		late = a.belief.later(delay + outMeanS + 2*outSpreadS)
	}
	switch {
	case o.ApogeeAt == nil:
		return "look: the top of the flight was not heard"
	case a.fit != nil && a.m.told && !math.IsNaN(a.m.touchdown) && !a.opened():
		return "bad: released, but nothing slowed it down" + a.fallWords()
	case !a.slowedDown():
		if o.TouchdownAt == nil {
			return "look: no release was seen before the readings end"
		}
		return "bad: it came down without a parachute" + a.fallWords()
	case late > surely:
		return fmt.Sprintf("bad: released %s%s", a.lagWords(), a.speedWords(false))
	case early > surely:
		return fmt.Sprintf("look: released %s%s", a.lagWords(), a.speedWords(true))
	case late > maybe:
		return fmt.Sprintf("look: released %s: the readings leave open whether within %.1f s", a.lagWords(), delay)
	case early > maybe:
		return fmt.Sprintf("look: released %s, which may have been before apogee", a.lagWords())
	case o.DescentMps != nil && *o.DescentMps > hardMps:
		return fmt.Sprintf("look: it sank at %s, which is a hard landing", plusMinus(*o.DescentMps, o.DescentSD, "m/s"))
	case o.TouchdownAt == nil:
		return "look: the readings end before the landing"
	case o.DescentMps == nil:
		return "look: the sink rate is not known"
	case o.ReleaseLagS == nil && !(a.belief.ok && a.fit != nil):
		return fmt.Sprintf("look: when it released is not known; it sank at %s", plusMinus(*o.DescentMps, o.DescentSD, "m/s"))
	}
	return fmt.Sprintf("good: released %s, sank at %s%s", a.lagWords(), plusMinus(*o.DescentMps, o.DescentSD, "m/s"), a.stageWords())
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

// lagWords says when it was released, with two explanations where two are alive.
func (a *analysis) lagWords() string {
	o := &a.out
	if first, second, both := a.belief.two(); both && a.fit != nil {
		return fmt.Sprintf("either %s (%.0f %%) or %s apogee (%.0f %%)",
			sideWords(first.lag, first.sd), 100*first.p, sideWords(second.lag, second.sd), 100*second.p)
	}
	if o.ReleaseLagS == nil {
		if a.belief.ok && a.fit != nil {
			lo, hi := a.belief.lag-1.96*a.belief.sd, a.belief.lag+1.96*a.belief.sd
			if lo < 0 && hi > 0 {
				return fmt.Sprintf("somewhere from %.1f s before to %.1f s after apogee", -lo, hi)
			}
			return fmt.Sprintf("somewhere from %s to %s apogee", sideWords(lo, 0), sideWords(hi, 0))
		}
		return "at a moment that is not known"
	}
	sd := 0.0
	if o.ReleaseLagSD != nil {
		sd = *o.ReleaseLagSD
	}
	return sideWords(*o.ReleaseLagS, sd) + " apogee"
}

// sideWords is a time before or after.
func sideWords(lag, sd float64) string {
	side := "after"
	if lag < 0 {
		side, lag = "before", -lag
	}
	if sd == 0 {
		return fmt.Sprintf("%.1f s %s", lag, side)
	}
	return plusMinus(lag, &sd, "s") + " " + side
}

// plusMinus writes a value with the digits that its standard deviation supports, two
// at the most.
func plusMinus(v float64, sd *float64, unit string) string {
	if sd == nil {
		return fmt.Sprintf("%.1f %s", v, unit)
	}
	digits := 1
	if *sd < 0.1 {
		digits = 2
	}
	return fmt.Sprintf("%.*f ± %.*f %s", digits, v, digits, *sd, unit)
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

// speedWords is the vertical speed at the release, if the readings show one like it.
func (a *analysis) speedWords(up bool) string {
	if a.fit == nil || a.out.ReleaseAt == nil {
		return ""
	}
	at := a.out.ReleaseAt.Sub(a.r.ref).Seconds()
	_, v := a.fit.path.at(&a.fit.q, at)
	v *= 1 + a.fit.q[pScale]
	shown := a.r.fastest(at-supportS, at+supportS, up)
	if up != (v > 0) || math.Abs(v) > shown+gravity*supportS/2+1 {
		return ""
	}
	way := "downward"
	if up {
		way = "upward"
	}
	return fmt.Sprintf(", at about %.0f m/s %s", math.Abs(v), way)
}

// fallWords is how fast a fall became that nothing slowed, as the readings show it.
func (a *analysis) fallWords() string {
	if math.IsNaN(a.m.apogee) {
		return ""
	}
	v := a.r.fastest(a.m.apogee, orElse(a.m.touchdown, a.r.t[len(a.r.t)-1])-supportS/2, false)
	if v < 2 {
		return ""
	}
	return fmt.Sprintf(", at up to %.0f m/s", v)
}

// stageWords tells of a faster descent before the last.
func (a *analysis) stageWords() string {
	if a.fit == nil || !a.fit.path.stages {
		return ""
	}
	return fmt.Sprintf(" at the end, faster before, at about %.0f m/s", math.Sqrt(gravity/math.Exp(a.fit.q[pCanopy])))
}
