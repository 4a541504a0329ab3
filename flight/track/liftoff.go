package track

import "math"

// What makes a liftoff. The lowest flight worth the name, to 10 m, leaves at
// 14 m/s; a person carrying a rocket, a gust or a car door may reach such a
// speed for a moment but not such a height with it.
const (
	lookBackS     = 2.0  // s of readings that are looked at
	climbS        = 0.6  // s of climb that are fitted, five readings at least
	longestClimbS = 1.5  // s that five readings may take
	leastSpanS    = 0.2  // s of climb that it takes at least
	leastMean     = 5.5  // m/s, mean speed over it
	leastHeight   = 2.5  // m
	boostGuessS   = 0.2  // length of an unseen boost
	unheardS      = 2.0  // s without a reading, after which the level may be another
	slowS         = 0.15 // s between the frames of a board of few
	slowFrames    = 7
	beforeS       = 0.4 // s of readings that tell where a climb began
	longestDipS   = 3.0 // s that the pressure at the vents is high at launch: as long as a motor burns
	stirMps       = 0.5 // m/s that a rocket in the air moves by at the least
	// No rocket leaves faster, m/s2: water rockets reach 1000 (the physics of
	// flight/model). A blow on the sensor does.
	mostMps2  = 2000.0
	unknownSD = 1.2 // m, noise that is allowed for before it is measured, at most
)

// climb is a liftoff found in the readings at rest.
type climb struct {
	at, sd float64 // s
	from   float64 // s, from where on the readings are those of the climb
	level  float64 // z of the pad, m
	sdPad  float64 // m
	white  float64 // m2, variance of one reading
}

// findLiftoff looks at the newest readings for a rocket that left the pad.
// It costs a few comparisons while the newest reading is near the level.
func (t *Tracker) findLiftoff() (climb, bool) {
	sd := math.Sqrt(t.noise())
	newest := t.hist.at(0)
	rest, _ := t.pad.before(newest.t - 1.5)
	base := t.firstLevel(rest.level)
	if t.col.height(newest.z-base) < leastHeight+2*sd {
		return climb{}, false
	}
	n := t.lookBack()
	near := max(1, 2.5*sd)
	up := n
	for i := range n {
		r := t.hist.at(i)
		r.h = t.col.height(r.z - base)
		if r.h < near && up == n {
			up = i
		}
	}
	sure := t.climbed(up, sd)
	if t.last.by == byReceiver && !t.climbsOver(n) {
		return climb{}, false
	}
	if c, ok := t.findOverGap(base, sd, sure); ok || !sure {
		return c, ok
	}
	c := t.backdate(up, n, sd)
	if t.pad.blocks == 0 { // the level is that of the first reading: it had not risen before
		c.at = max(c.at, t.hist.at(t.hist.n-1).t)
	}
	c.from = c.at
	if at, ok := t.dipBefore(up, base, near); ok {
		c.at, c.sd = at, 0.1
	}
	if l, ok := t.pad.before(c.at - 0.2); ok {
		rest = l
	}
	c.level, c.sdPad, c.white = t.firstLevel(rest.level), rest.sd, rest.white
	return c, true
}

// climbed says whether the newest up readings are those of a rocket climbing.
// The mean speed over the last part of them is what counts: a gust that
// lifts the readings and stays has none.
func (t *Tracker) climbed(up int, sd float64) bool {
	if up < 3 {
		return false
	}
	gust := t.badGusts()
	newest := t.hist.at(0).t
	for _, span := range [2]float64{climbS, 1.0} {
		n := min(up, max(t.hist.since(newest-span), 5))
		if t.rises(n, up, sd, gust) {
			return true
		}
	}
	if t.pad.blocks == 0 {
		return false // a first reading alone is no pad
	}
	// Much higher than a moment ago, and staying there.
	began := newest - t.hist.at(up-1).t
	if t.climbsByFrames(up, sd, gust) {
		return true
	}
	if up >= 5 && began > 0.25 && began < 1.9 && t.heardLeave(up) && t.medianOf(0, min(up, 9)) > 5+2*sd+3*gust && t.stirs(up, sd) {
		return true
	}
	// High for a second, and moving: however the climb looked.
	high := t.allAbove(up, 8+6*sd+4*gust)
	if high < 5 || newest-t.hist.at(high-1).t < 1 {
		return false
	}
	a := t.hist.fit(0, high, 0, max(2*sd, 1))
	return a.n >= 5 && a.used > 0.7 && math.Abs(a.v) > 2.5+4*a.sdV
}

// lookBack is how many readings are looked at: those of the last seconds, and of a
// board that sends seldom so many that a climb is among them.
func (t *Tracker) lookBack() int {
	n := t.hist.since(t.hist.at(0).t - lookBackS)
	for n < min(slowFrames, t.hist.n) && t.hist.at(n-1).t-t.hist.at(n).t < unheardS {
		n++
	}
	return n
}

// climbsByFrames says whether a board of few frames has left the pad: each of
// three frames or more is higher than the one before it, by what only a rocket
// climbs meanwhile. Under thrust no arc fits so few.
func (t *Tracker) climbsByFrames(up int, sd, gust float64) bool {
	if up < 3 || !t.heardLeave(up) || t.pad.blocks == 0 || t.hist.at(0).t-t.hist.at(up).t < climbS {
		return false
	}
	for i := range up - 1 {
		a, b := t.hist.at(i+1), t.hist.at(i)
		dt := b.t - a.t
		if dt < slowS || b.h-a.h < leastMean*dt+4*sd+2*gust {
			return false
		}
	}
	return true
}

// heardLeave says whether the newest up readings follow a reading on the pad
// without a gap: across a silence the level itself may have changed.
func (t *Tracker) heardLeave(up int) bool {
	return up < t.hist.n && t.hist.at(up-1).t-t.hist.at(up).t < unheardS
}

// stirs says whether the newest n readings move at all. What has jumped and stands
// is another level: a sensor that was read anew, a board that has started again
// and does not say so.
func (t *Tracker) stirs(n int, sd float64) bool {
	a := t.hist.fit(0, n, 0, max(sd, 0.3))
	if a.n < 3 || math.Abs(a.v) > stirMps+3*a.sdV || a.used < 0.6 {
		return true
	}
	// About the top of an arc it does not move on average.
	b := t.hist.fit(0, n, -gravity, max(sd, 0.3))
	return b.n == a.n && float64(a.n)*(a.rms*a.rms-b.rms*b.rms) > 16*sd*sd
}

// rises says whether the newest n readings climb as only a rocket does.
func (t *Tracker) rises(n, up int, sd, gust float64) bool {
	if t.pad.blocks == 0 {
		sd = min(sd, unknownSD) // a sensor that settles looks noisy
	}
	a := t.hist.fit(0, n, -gravity, max(sd, 0.3))
	if a.n < 3 || a.used < 0.6 {
		return false
	}
	span := a.end - t.hist.at(n-1).t
	mean := a.v + gravity*span/2
	margin := 4*sd + 4*gust
	if span > longestClimbS || mean < leastMean || mean < 4*a.sdV+1.5*gust || mean*mean > 2*mostMps2*max(a.h, leastHeight) {
		return false
	}
	if t.pad.blocks == 0 && (span < 1.5*leastSpanS || a.n < 5 || a.used < 0.8 || mean > 200 || !t.climbsOn(n, mean, sd)) {
		return false // a sensor that has just been switched on may still settle
	}
	if a.n >= 4 && span >= leastSpanS && a.rms < 3*max(sd, 0.3)+0.05*a.h &&
		(a.h > leastHeight+3*a.sdH+4*gust || t.roseAtOnce(up, a.h, 3*a.sdH, gust)) {
		return true
	}
	return t.pad.blocks > 0 && span > 0.9*leastSpanS && a.h > 2*(leastHeight+margin) && t.allAbove(up, leastHeight+margin/2) >= 3
}

// roseAtOnce says whether a climb to the height h, of which up readings are off the
// pad, has risen from where it began by more than gusts move in that time: where they
// are strong, a low flight stands out by how fast it rises and not by how far it is
// from their mean.
func (t *Tracker) roseAtOnce(up int, h, margin, gust float64) bool {
	if t.pad.blocks < 4 || up >= t.hist.n {
		return false
	}
	from := t.hist.at(up).t
	n := min(t.hist.since(from-beforeS)-up, maxMedian)
	span := t.hist.at(0).t - from
	if n < 3 || span > lookBackS {
		return false
	}
	moves := gust * math.Sqrt(2*-math.Expm1(-span/gustTau))
	return h-t.medianOf(up, n) > leastHeight+margin+3.5*moves
}

// climbsOn says whether the newer half of n readings still climbs at 0.6 of the
// mean speed of all: what coasts for 0.6 s from 14 m/s on keeps 0.87 of it, what
// settles within some tenths of a second keeps less than half.
func (t *Tracker) climbsOn(n int, mean, sd float64) bool {
	late := t.hist.fit(0, max(3, (n+1)/2), -gravity, max(sd, 0.3))
	return late.n >= 3 && late.v > 0.6*mean-gravity*climbS/4
}

// allAbove counts how many of the newest up readings in a row are above h.
func (t *Tracker) allAbove(up int, h float64) int {
	i := 0
	for i < up && t.hist.at(i).h > h {
		i++
	}
	return i
}

// backdate finds when the rocket left. The last part of the climb followed
// back to the pad level passes it about half a boost after liftoff; a long
// boost passes it later still, so that the first reading clearly off the pad
// is a bound as well.
func (t *Tracker) backdate(up, n int, sd float64) climb {
	newest := t.hist.at(0).t
	clear := t.allAbove(up, max(2, 4*sd+3*t.badGusts()))
	off := t.hist.at(max(0, clear-1)).t
	if clear < 3 {
		clear = min(up, max(t.hist.since(newest-climbS), 5))
	}
	a := t.hist.fit(0, min(clear, t.hist.since(newest-climbS)), -gravity, max(sd, 0.3))
	rest := t.hist.at(up-1).t - boostGuessS
	if up < n {
		rest = t.hist.at(up).t
	}
	if a.n == 0 { // a gap: only its ends are known
		at := (rest + off) / 2
		return climb{at: at, sd: max(0.05, (off-rest)/3)}
	}
	speed := math.Sqrt(max(a.v*a.v+2*gravity*a.h, 1))
	cross := a.end - 2*a.h/(a.v+speed)
	if a.v < 0 {
		cross = a.end - (a.v+speed)/gravity
	}
	at := max(min(cross-boostGuessS/2, off), cross-2*boostGuessS)
	at = max(at, min(rest, off-0.02)-boostGuessS/2)
	return climb{at: at, sd: max(0.05, (off-at)/2)}
}

// dipBefore looks for readings far below the pad just before the climb: the
// pressure at the vents rises at launch. Liftoff then was where they began.
func (t *Tracker) dipBefore(up int, base, near float64) (at float64, ok bool) {
	i, deep := up, 0
	for ; i < t.hist.n; i++ {
		h := t.col.height(t.hist.at(i).z - base)
		if h > -near && (deep > 0 || i > up+3) { // a few may lie in between
			break
		}
		if h < -4*near {
			deep++
		}
	}
	if deep < 3 || i == t.hist.n || t.hist.at(up-1).t-t.hist.at(i).t > longestDipS {
		return 0, false
	}
	return t.hist.at(i).t, true
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

// badGusts is the rms in m of gusts as strong as they may be for all that is
// known.
func (t *Tracker) badGusts() float64 { return math.Sqrt(t.pad.gusts(badGust, t.step())) }
