package smooth

import "math"

// Thrust, as an accelerometer shows it (common practice, no source).
const (
	pushesBy   = 5.0  // m/s2 above rest, that only thrust does
	fewestPush = 3    // readings of it
	wholePush  = 8    // readings that tell its sum: with fewer the peak may lie between two
	pushWithin = 1.5  // s about the liftoff that was called
	pushGapS   = 0.12 // between two of its readings, or the thrust is not known
	tailPart   = 0.1  // of the boost, for which what is left of the thrust is less than the drag
	scalePart  = 0.03 // sd of the scale of an accelerometer and of its tilt, as parts
	agreeSDs   = 3.0  // by which it may differ from the boost that the coast shows, and
	agreeSpeed = 0.2  // by which part of the speed: a vent that errs is not looked for there
)

// push is the thrust as an accelerometer read it.
type push struct {
	liftoff, liftoffSD float64 // s
	burnout, burnoutSD float64 // s
	gain, gainSD       float64 // m/s, speed gained until the thrust is the weight; sd +Inf where the sensor was at its end
	ok                 bool
}

// findPush finds it about the liftoff, where it agrees with the boost that the coast
// followed back makes likely.
func (a *analysis) findPush() {
	b := &a.burn
	if !b.ok {
		return
	}
	p, ok := a.r.thrust(a.m.liftoff)
	if !ok || math.Abs(p.burnout-b.burnout) > agreeSDs*math.Hypot(b.burnoutSD, b.length) {
		return
	}
	if math.Abs(p.gain-b.speed) > agreeSDs*math.Hypot(p.gainSD, b.speedSD)+agreeSpeed*b.speed {
		a.refuseForce()
		if again := findBurn(a.r, a.coast, a.cfg.Rocket.Kind == "solid", a.m.liftoff); again.ok {
			a.burn = again
		}
		return
	}
	a.push = p
}

// thrust finds the thrust in the readings about the liftoff.
func (r *readings) thrust(liftoff float64) (push, bool) {
	from, to, ok := r.pushing(liftoff)
	if !ok {
		return push{}, false
	}
	cross := func(i int, level float64) (t, sd float64) { // between readings i-1 and i
		gap := r.t[i] - r.t[i-1]
		part := max(0, min(1, (level-r.force[i-1])/(r.force[i]-r.force[i-1])))
		return r.t[i-1] + part*gap, gap / math.Sqrt(12)
	}
	p := push{ok: true}
	p.liftoff, p.liftoffSD = cross(from, gravity+pushesBy/2)
	p.burnout, p.burnoutSD = cross(to, 0)
	if to-from < wholePush {
		p.gainSD = math.Inf(1)
	}
	for i := from; i <= to; i++ {
		p.gain += max(0, (r.t[i]-r.t[i-1])*((r.force[i-1]+r.force[i])/2-gravity))
		if r.clipped[i] {
			p.gainSD = math.Inf(1)
		}
	}
	p.gainSD += scalePart*p.gain + math.Abs(r.force[from]-gravity)*p.liftoffSD + math.Abs(r.force[to-1]-gravity)*p.burnoutSD
	return p, p.burnout > p.liftoff
}

// pushing are the first reading of the accelerometer under thrust about the liftoff and
// the first one after it that shows none.
func (r *readings) pushing(liftoff float64) (from, to int, ok bool) {
	i, end := max(1, r.at(liftoff-pushWithin)), r.at(liftoff+pushWithin)
	pushes := func(i int) bool { return r.force[i] > gravity+pushesBy }
	for i < end && !(pushes(i) && pushes(min(i+1, len(r.t)-1))) {
		i++
	}
	from = i
	for i < len(r.t) && r.force[i] > 0 {
		if r.t[i]-r.t[i-1] > pushGapS {
			return 0, 0, false
		}
		i++
	}
	n := 0
	for k := from; k < i; k++ {
		if pushes(k) {
			n++
		}
	}
	return from, i, n >= fewestPush && i < len(r.t) && !math.IsNaN(r.force[i]) && !math.IsNaN(r.force[from-1]) && r.t[i]-r.t[i-1] <= pushGapS
}
