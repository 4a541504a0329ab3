package track

import "math"

// What makes a liftoff. The lowest flight worth the name, to 10 m, leaves at
// 14 m/s; a person carrying a rocket, a gust or a car door may reach such a
// speed for a moment but not such a height with it.
const (
	lookBackS    = 2.0  // s of readings that are looked at
	leastLaunch  = 8.0  // m/s, speed at the start of the climb
	leastHeight  = 3.0  // m
	leastClimbS  = 0.3  // s of climbing
	surelyHigh   = 15.0 // m, from where three readings are enough
	surelyLaunch = 12.0 // m/s
	boostGuessS  = 0.2  // length of an unseen boost
)

// climb is a liftoff found in the readings at rest.
type climb struct {
	at, sd float64 // s
	level  float64 // z of the pad, m
	sdPad  float64 // m
}

// findLiftoff looks at the newest readings for a rocket that left the pad.
// It costs a few comparisons while the newest reading is near the level.
func (t *Tracker) findLiftoff() (climb, bool) {
	sd := math.Sqrt(t.noise())
	newest := t.hist.at(0)
	base, sdPad, _ := t.pad.before(newest.t - 1.5)
	base = t.firstLevel(base)
	if t.col.height(newest.z-base) < leastHeight+2*sd {
		return climb{}, false
	}
	n := t.hist.since(newest.t - lookBackS)
	near := max(1, 2.5*sd)
	up := n
	for i := range n {
		r := t.hist.at(i)
		r.h = t.col.height(r.z - base)
		if r.h < near && up == n {
			up = i
		}
	}
	if !t.climbed(up, sd) {
		return climb{}, false
	}
	c := t.backdate(up, n, sd)
	c.sdPad = sdPad
	if level, s, ok := t.pad.before(c.at - 0.2); ok {
		c.level, c.sdPad = t.firstLevel(level), s
	} else {
		c.level = base
	}
	return c, true
}

// climbed says whether the newest up readings are those of a rocket climbing.
func (t *Tracker) climbed(up int, sd float64) bool {
	if up < 3 {
		return false
	}
	a := t.hist.fit(0, up, -gravity, max(sd, 0.3))
	if a.n < 3 {
		return false
	}
	start := t.hist.at(up - 1).t
	launch := a.v + gravity*(a.end-start)
	climbS := a.end - start
	ok := a.used > 0.6 && launch > leastLaunch && launch > 4*a.sdV
	if ok && climbS >= leastClimbS && a.n >= 4 && a.h > leastHeight+4*a.sdH &&
		a.rms < 3*max(sd, 0.3)+0.05*a.h {
		return true
	}
	if launch > surelyLaunch && a.h > surelyHigh+4*sd && t.allAbove(up, 5+3*sd) >= 3 {
		return true
	}
	// High for a second, and moving: however the climb looked.
	high := t.allAbove(up, 8+6*sd)
	return high >= 5 && a.end-t.hist.at(high-1).t >= 1 && math.Abs(a.v) > 2.5+4*a.sdV
}

// allAbove counts how many of the newest up readings in a row are above h.
func (t *Tracker) allAbove(up int, h float64) int {
	i := 0
	for i < up && t.hist.at(i).h > h {
		i++
	}
	return i
}

// backdate finds when the rocket left: it was at rest until the last reading
// near the pad, and the climb followed back to the pad level passes it half a
// boost later.
func (t *Tracker) backdate(up, n int, sd float64) climb {
	a := t.hist.fit(0, up, -gravity, max(sd, 0.3))
	first := t.hist.at(up - 1)
	rest := first.t - boostGuessS
	if up < n {
		rest = t.hist.at(up).t
	}
	// Back along the parabola from the newest reading to height 0.
	disc := a.v*a.v + 2*gravity*a.h
	cross := a.end - 2*a.h/(a.v+math.Sqrt(disc))
	if a.v < 0 {
		cross = a.end - (a.v+math.Sqrt(disc))/gravity
	}
	at := min(cross-boostGuessS/2, first.t)
	early := min(rest, first.t-0.02)
	if at < early-boostGuessS {
		at = early - boostGuessS/2
	}
	spread := max(0.05, math.Abs(first.t-at)/2)
	return climb{at: at, sd: spread}
}

// firstLevel replaces the pad level by the first reading while nothing has
// been learnt: a log that begins at liftoff has no pad before it.
func (t *Tracker) firstLevel(level float64) float64 {
	if t.pad.blocks > 0 {
		return level
	}
	n := t.hist.n
	if n == 0 {
		return level
	}
	return t.hist.at(n - 1).z
}
