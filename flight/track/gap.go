package track

import "math"

// A low flight may lose its frames from before the liftoff is sure until half way
// down. Neither what is heard before nor what is heard after is a liftoff by
// itself; together they are.
const (
	gapS      = 0.8 // s without a reading
	gapLookS  = 6.0 // s of readings that are looked at
	leastFall = 5   // readings of the fall after the gap
	fallMps   = 1.5 // m/s, the slowest fall that counts
)

// findOverGap looks for a climb that ends in a gap and a fall that begins in it; if
// it is sure anyway that the rocket flies, for the climb alone, which tells when it
// left. Base is the level of the pad and sd the noise of a reading.
func (t *Tracker) findOverGap(base, sd float64, sure bool) (climb, bool) {
	newest := t.hist.at(0).t
	n := t.hist.since(newest - gapLookS)
	down := 1
	for down < n && t.hist.at(down-1).t-t.hist.at(down).t < gapS {
		down++
	}
	if down >= n || down < leastFall && !sure {
		return climb{}, false
	}
	near, up := max(1, 2.5*sd), 0
	for i := range n {
		r := t.hist.at(i)
		r.h = t.col.height(r.z - base)
	}
	for down+up < n && t.hist.at(down+up).h > near {
		up++
	}
	if up < 3 || !sure && !t.fellSince(down, sd) || !t.roseUntil(down, up, sd) {
		return climb{}, false
	}
	first := t.hist.at(down + up - 1)
	at := first.t - boostGuessS/2 - min(first.h/leastMean, boostGuessS)
	c := climb{at: at, from: at, sd: 0.15}
	rest, _ := t.pad.before(at - 0.2)
	c.level, c.sdPad, c.white = t.firstLevel(rest.level), rest.sd, rest.white
	return c, true
}

// fellSince says whether the newest n readings are a fall from a height that no
// gust reaches.
func (t *Tracker) fellSince(n int, sd float64) bool {
	gust := t.badGusts()
	a := t.hist.fit(0, n, 0, max(sd, 0.3))
	if a.n < leastFall || a.used < 0.8 || a.rms > 2*max(sd, 0.3) {
		return false
	}
	began := a.h - a.v*(a.end-t.hist.at(n-1).t)
	return a.v < -fallMps-2.5*a.sdV-gust/2 && began > leastHeight+3*sd+3*gust
}

// roseUntil says whether n readings from the given one back climb as a rocket does.
func (t *Tracker) roseUntil(first, n int, sd float64) bool {
	gust := t.badGusts()
	a := t.hist.fit(first, n, -gravity, max(sd, 0.3))
	if a.n < 3 || a.used < 0.8 {
		return false
	}
	mean := a.v + gravity*(a.end-t.hist.at(first+n-1).t)/2
	return mean > max(leastMean, 3*a.sdV+1.5*gust) && a.h > leastHeight+2*sd+2*gust
}

// noteGap is the note of an apogee that nothing was heard of.
const noteGap = "frames lost over the apogee"

// hidden is an apogee of which no reading was heard.
type hidden struct{ at, sd, h, sdH float64 }

// hiddenTop is what is known of an apogee that lies in a gap: the readings before
// it climb and those after it only fall. It was higher than the readings on both
// sides. How much higher is bounded by the speed before the gap, and by the time
// in which it has come down again: without drag it would be down the soonest. Ok is
// false when the top was heard, or when so much of the climb was heard that the
// filter foretells the top well: it says `at`.
func (t *Tracker) hiddenTop(at float64) (top hidden, ok bool) {
	n := t.hist.since(t.fl.liftoff)
	after := 1
	for after < n && t.hist.at(after-1).t-t.hist.at(after).t < gapS {
		after++
	}
	if after >= n {
		return hidden{}, false
	}
	a, b := t.hist.at(after), t.hist.at(after-1)
	short := n-after < shortClimb
	if !(short && at <= b.t) && !((short || t.filter.w[canopy] > t.filter.w[coast]) && t.onlyFalls(after)) {
		return hidden{}, false
	}
	gap := b.t - a.t
	fastest := min(a.v+hiddenMps, (b.h-a.h)/gap+gravity*gap/2)
	if fastest <= 0 {
		return hidden{}, false
	}
	low := max(a.h, b.h)
	high := max(low, a.h+fastest*fastest/(2*gravity))
	end := min(b.t, a.t+fastest/gravity)
	const even = 3.464 // the width of an even distribution over its sd
	return hidden{at: (a.t + end) / 2, sd: max(0.1, (end-a.t)/even), h: (low + high) / 2, sdH: max(1, (high-low)/even)}, true
}

// shortClimb is how many readings of a climb do not foretell its top.
const shortClimb = 12

// hiddenMps is by how much the speed before the gap may be greater than it seems
// from a few readings, m/s.
const hiddenMps = 6.0

// onlyFalls says whether the newest n readings fall from the first of them on.
func (t *Tracker) onlyFalls(n int) bool {
	a := t.hist.fit(0, n, 0, max(math.Sqrt(t.noise()), 0.3))
	if a.n < 3 || a.v > -fallMps-2*a.sdV {
		return false
	}
	k := max(1, min(n/3, maxMedian))
	return t.medianOf(n-k, k) > t.medianOf((n-k)/2, k)
}
