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
	near, braked := r.judge(v)
	if r.latched {
		if r.slow.hold(v.t, braked) > 0.7 {
			r.latched = false
		}
		return asCond(r.latched)
	}
	r.latched = near && !r.braking(v)
	return asCond(r.latched)
}

// judge compares the fall with free fall since the apogee, in speed and in
// height lost: near is a fall that no parachute brakes, braked one that clearly
// is. Height and speed together tell the two apart sooner than either alone.
func (r *ballistic) judge(v *view) (near, braked bool) {
	sd := v.speedSD
	if math.IsNaN(sd) {
		sd = 0
	}
	free, deep := v.freeFall()
	braked = v.sink() < math.Max(0.4*free, v.limits.BallisticMps)
	share := v.limits.BallisticShare
	fast, far := v.sink()/free, 1.0
	if lost := v.apogeeM - v.alt; !math.IsNaN(lost) {
		far = lost / deep
	}
	slowest := v.limits.BallisticMps
	if chute := v.parachuteSpeed(); v.released && !math.IsInf(chute, 1) {
		slowest = math.Max(slowest, 1.3*chute)
	}
	credible := v.sink() > slowest && v.sink()-sd > 0.5*free && fast > share && far > 0.5
	// Nothing falls faster or further than free: then the speed or the apogee
	// was told wrong. A little is the noise's, much is no fall at all.
	credible = credible && fast < 1.3+3/free
	return credible && (math.Min(1, fast)+math.Min(1, far))/2 > r.need(v), braked
}

// need is how like free fall a fall must be now to count as ballistic; above
// any while it may not.
//
// After a told release it falls with time, as fast as an opening parachute
// makes a fall unlike free fall, while falls without a parachute stay above 0.85
// as the tracker sees them. It begins when the slowest parachute should brake (see
// toOpen); with a time that is the same for all releases, the later ones, which
// have the least of their fall left, were judged 0.2 s later than they can be.
func (r *ballistic) need(v *view) float64 {
	share := v.limits.BallisticShare
	if math.IsNaN(v.releaseAt) || v.rocket.Release == "none" {
		due := v.apogeeAt + v.releaseDelay()
		if v.rocket.Release != "none" && !v.tellsRelease() {
			// Nobody says whether the release has come: leave it the time to
			// open if it came at the end of the delay.
			due += v.limits.InflateS / 2
		}
		if v.t < due {
			return math.Inf(1)
		}
		return share
	}
	late := v.t - math.Max(v.releaseAt, v.apogeeAt) - v.toOpen() - v.sluggish()
	if late < 0.15 {
		return math.Inf(1)
	}
	return math.Max(share, 0.96-0.5*(late-0.15))
}

// toOpen is how long in s after the release a parachute may take to brake. The
// limit is for one that is released at the apogee, at rest. A parachute fills with
// the air that it meets, over a distance (Knacke, NWC TP 6575, from memory), so
// that one released while it falls fills sooner: it may take what is left of the
// distance that a fall from rest goes in the limit, after a part of the limit in
// which it comes out.
func (v *view) toOpen() float64 {
	most := v.slowestOpening()
	out := most * comesOut
	falling := math.Max(0, v.releaseAt-v.apogeeAt)
	return math.Sqrt((falling+out)*(falling+out)+most*most-out*out) - falling
}

// slowestOpening is the limit, or longer for a heavy rocket under a large parachute
// in thin air, as far as it is described. Filled to the part f of its distance d,
// which is some diameters, it has f² of its area and brakes as much as gravity
// pulls when f times the speed is its own sink rate; after a fall of x from rest
// that is x/d sqrt(2 g x).
func (v *view) slowestOpening() float64 {
	own := v.parachuteSpeed()
	if math.IsInf(own, 1) {
		return v.limits.InflateS
	}
	fall := math.Pow(fillDiameters*v.rocket.ParachuteM*own/math.Sqrt(2*gravity), 2.0/3)
	return math.Max(v.limits.InflateS, math.Sqrt(2*fall/gravity))
}

// fillDiameters is over how many of its diameters a flat circular parachute fills
// (Knacke, NWC TP 6575, from memory).
const fillDiameters = 8.0

// comesOut is the part of the time to open that a parachute takes to come out
// (common practice, no source).
const comesOut = 0.5

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

// sluggish is by how much longer than usual, in s, a tracker needs to see that a
// parachute brakes, because the board is noisy or slow: until the braking of
// about 8 m/s2 has moved the rocket by three times the standard error of the
// height, 4 t2 = 3 s/sqrt(f t), with white noise s in m rms and f readings a
// second. That is 0.23 s for the usual 0.25 m at 50 Hz. Half of what it takes
// longer has proved enough in the simulated ensemble.
func (v *view) sluggish() float64 {
	noise, rate := 0.5, 10.0
	if v.self.pad.noise > 0 {
		noise = v.self.pad.noise / v.perMetre()
	}
	if g := v.self.link.gap.value; g > 0 {
		rate = 1 / g
	}
	return math.Max(0, math.Pow(0.75*noise/math.Sqrt(rate), 0.4)-0.23) / 2
}

// braking says that the fall is getting slower, as under an opening parachute;
// in free fall it grows by 2 m/s in each 0.2 s.
func (r *ballistic) braking(v *view) bool {
	old := r.speed[1]
	return old.t > 0 && v.sink() < old.v-0.5
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
	free, _ := v.freeFall()
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
			v.name(), v.sink(), metres(v.alt), v.t-v.apogeeAt, free, why, when, drag),
	}
}
