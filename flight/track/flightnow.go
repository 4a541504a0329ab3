package track

import (
	"fmt"
	"math"

	"padlark/decode"
	"padlark/flight"
)

// flightNow is what is known of the flight under way.
type flightNow struct {
	level     float64 // z of the pad, m
	sdPad     float64
	liftoff   float64 // s
	start     float64 // s, of the readings that the filter began with
	burntOut  bool
	halfM     float64 // m, the greatest height by then
	halfBurnt float64 // when boost became the less likely mode, s
	burnoutAt float64
	apogee    bool
	apogeeAt  float64
	calledM   float64 // m, the height that was called
	calls     int     // calls taken back
	climbsOn  float64 // since when the readings refute the call, s; NaN
	seen      bool    // the release was seen in the fall, not told
	released  bool
	canopyAt  float64 // when the canopy mode became the likelier, s; NaN
	highest   float64 // smoothed, m
	highestAt float64
	fastest   float64 // m/s, upward
	gust      float64 // variance of gusts on the ground, m2
	notBefore float64 // s, no apogee can be before
	early     float64 // least probability so far that the apogee is earlyS away or more
	lostSince float64 // since when no reading fitted, s; NaN
	falling   float64 // since when the readings alone fall, s; NaN
	landedAt  float64
	stillLook float64 // s, from when on stillness is looked for again
	inAir     bool    // first heard in the air: the pad is not known
}

// take handles one reading.
func (t *Tracker) take(r reading, fresh bool) {
	if !t.flying {
		t.rest(r, fresh)
		return
	}
	r.h = t.col.height(r.z - t.fl.level)
	if !fresh {
		return
	}
	t.hist.push(r)
	t.follow()
}

// rest handles a reading on the ground.
func (t *Tracker) rest(r reading, fresh bool) {
	if t.out.Phase == flight.Landed && r.t-t.fl.landedAt > landedForS {
		t.out.Phase = flight.Waiting
	}
	if !fresh {
		return
	}
	if t.hist.n > 0 {
		switch quiet := r.t - t.hist.at(0).t; {
		case quiet > relearnS:
			t.relearn()
		case quiet > unheardS:
			t.pad.unheard, t.pad.nBlock = true, 0 // no block is of both levels
		}
	}
	t.hist.push(r)
	t.pad.add(r.t, r.z)
	if t.findFalling(t.hist.at(0)) {
		return
	}
	if c, ok := t.findLiftoff(); ok {
		t.launch(c)
	}
}

const landedForS = 120 // s after touchdown until the rocket counts as waiting again

// launch starts a flight and takes the readings since liftoff again, now as
// those of a flight.
func (t *Tracker) launch(c climb) {
	t.flying = true
	t.out.Flight++
	t.out.Phase = flight.Boost
	t.fl = flightNow{level: c.level, sdPad: c.sdPad, liftoff: c.at, start: c.from,
		canopyAt: math.NaN(), lostSince: math.NaN(), falling: math.NaN(), climbsOn: math.NaN(), halfBurnt: math.NaN(), highestAt: c.at, early: 1}
	t.out.Released = false
	t.pad.white = c.white // the climb itself is no noise
	e := t.event(flight.Liftoff, c.at, c.sd)
	e.AltitudeM, e.AltitudeSD = num(0), num(c.sdPad)
	t.emit(e)
	n := t.hist.since(c.from)
	t.fl.gust = t.pad.gusts(usualGust, t.step())
	t.filter.gust = airGust * t.fl.gust
	t.filter.start(c.from, 0, 0.05+c.sdPad*c.sdPad)
	for i := t.hist.n - 1; i >= 0; i-- {
		r := t.hist.at(i)
		r.h = t.col.height(r.z - c.level)
		if i < n {
			t.followOne(r, i)
		}
	}
}

// airGust is the part of the variance of gusts on the pad that shows in flight: the
// rocket moves with what turns it (common practice, no source).
const airGust = 0.25

// Until it is this high and this long after liftoff nothing but boost is
// possible.
const (
	heldS        = 0.06 // s
	heldM        = 2.0  // m
	longestHeldS = 0.6  // s
)

// follow moves the flight on by the newest reading.
func (t *Tracker) follow() { t.followOne(t.hist.at(0), 0) }

// followOne moves the flight on by a reading that is back readings old.
func (t *Tracker) followOne(r *reading, back int) {
	f := &t.filter
	f.noise = t.noise()
	f.holdTo = t.fl.start + heldS
	if t.fl.highest < heldM {
		f.holdTo = min(r.t, t.fl.start+longestHeldS)
	}
	f.opens = t.opening()
	f.aside, f.hides = t.aside()
	t.fallsSince(r)
	f.step(r.t, r.h, r.force)
	h, v, _, _ := f.mean()
	r.v = v
	if h > t.fl.highest {
		t.fl.highest, t.fl.highestAt = h, r.t
	}
	t.fl.fastest = max(t.fl.fastest, v)
	t.reacquire(r, back)
	t.findBurnout(r, back)
	if back > 0 {
		return // what the newest reading says counts
	}
	if !t.fl.apogee {
		t.findApogee(r)
	} else {
		t.refute(r)
	}
	t.findCanopy(r)
	t.findTouchdown(r)
}

// opening is the rate in 1/s at which a parachute is expected to open: small
// while climbing, large once the board says that it released.
func (t *Tracker) opening() float64 {
	switch {
	case t.last.released:
		return 3
	case t.filter.x[coast][xSpeed] > 3:
		if t.last.tells {
			return 0.005
		}
		return 0.02
	case t.last.tells:
		return 0.05
	}
	return 0.3
}

// reacquire starts the filter again on the readings alone when they have not
// fitted any mode for a while.
func (t *Tracker) reacquire(r *reading, back int) {
	if t.filter.inlier > 0.5 {
		t.fl.lostSince = math.NaN()
		return
	}
	if math.IsNaN(t.fl.lostSince) {
		t.fl.lostSince = r.t
		return
	}
	lost := r.t - t.fl.lostSince
	if lost < 0.7 {
		return
	}
	n := 0
	for back+n < t.hist.n && t.hist.at(back+n).t >= t.fl.lostSince && n < 60 {
		n++
	}
	sd := math.Sqrt(t.noise())
	for _, c := range [2]float64{-gravity, 0} {
		a := t.hist.fit(back, n, c, max(sd, 0.3))
		if a.n < 5 || a.used < 0.7 || math.Abs(a.v) > 400 {
			continue
		}
		w := [modes]float64{0.05, 0.55, 0.4}
		if c == 0 {
			w = [modes]float64{0.05, 0.15, 0.8}
		}
		t.filter.restart(r.t, a.h, a.v, 4*a.sdH*a.sdH+0.05, 9*a.sdV*a.sdV+1, w)
		t.fl.lostSince, t.fl.early = math.NaN(), 1
		return
	}
}

// fadeS is by how much the thrust fades before it ends, in s: the readings alone
// do not tell the end better.
const fadeS = 0.12

// findBurnout watches the boost mode lose its weight, up to a reading that is back
// readings old.
func (t *Tracker) findBurnout(r *reading, back int) {
	w := t.filter.w[boost]
	if t.fl.burntOut {
		return
	}
	if w > 0.5 {
		t.fl.halfBurnt = math.NaN()
		return
	}
	if math.IsNaN(t.fl.halfBurnt) {
		// A vent may lift the readings faster than the filter believes them.
		t.fl.halfBurnt, t.fl.halfM = r.t, max(t.fl.highest, t.medianOf(back, min(5, t.hist.n-back)))
	}
	if w > 0.05 {
		return
	}
	t.fl.burntOut = true
	if t.out.Phase == flight.Boost {
		t.out.Phase = flight.Coast
	}
	at := max(t.fl.halfBurnt, t.fl.liftoff+0.05)
	t.fl.burnoutAt = at
	t.notBefore(t.fl.halfM)
	e := t.event(flight.Burnout, at, max(fadeS, r.t-at))
	t.emitNow(e, r.t)
}

// notBefore forbids a call before the speed is spent that readings of h m at the
// burnout imply.
func (t *Tracker) notBefore(h float64) {
	at := t.fl.burnoutAt
	t.fl.notBefore = max(t.fl.notBefore, at+surely*t.leastCoast(at-t.fl.liftoff, h))
}

// ventSettlesS is for how long in s after the burnout what was called one may still
// have been a filter that was lost under thrust.
const ventSettlesS = 0.5

// Rules for calling the apogee.
const (
	pPassed = 0.80 // it is over with this probability, and
	pEarly  = 1e-5 // with this one at most it is still earlyS away
	earlyS  = 0.1  // s

	leastTopM   = 3.0 // m, below which there is no apogee
	leastTopMps = 4.0 // m/s, speed that it must have had
	leastTopS   = 1.5 // s after liftoff, from when it may have had it unseen

	slows = 0.9 // of earlyS and of gravity: a gust may lift a little
)

// findApogee calls the apogee once it is surely over.
func (t *Tracker) findApogee(r *reading) {
	f := &t.filter
	if t.fl.burntOut && r.t < t.fl.burnoutAt+ventSettlesS {
		t.notBefore(t.medianOf(0, min(5, t.hist.n)))
	}
	if r.t < t.fl.notBefore {
		t.fl.early = 1
		return
	}
	if t.fl.highest < leastTopM || t.fl.fastest < leastTopMps && r.t < t.fl.liftoff+leastTopS {
		return
	}
	// That the apogee is still ahead can only become less true: the least
	// probability that it had counts.
	t.fl.early = min(t.fl.early, f.faster(slows*earlyS))
	if f.faster(0) < 1-pPassed && t.fl.early < pEarly &&
		f.w[boost] < 0.02 && f.health > 0.6 && t.topFits(r) {
		p := f.predict2apogee()
		at, sd, h, sdH := r.t+p.inS, p.sdS, p.height, p.sdM
		note := ""
		if f.w[canopy] > f.w[coast] {
			at, sd, h = t.lastRise(), max(p.sdS, 0.05), t.fl.highest
		}
		if top, ok := t.hiddenTop(at); ok {
			at, sd, h, sdH, note = top.at, top.sd, top.h, top.sdH, noteGap
		}
		t.apogee(r.t, at, sd, h, sdH, note)
		return
	}
	t.fallsAnyway(r)
}

// fallsSince bounds the probability that the apogee is still earlyS away at the
// reading r by what was known before it: without thrust nothing slows a climb
// less than gravity does, whatever opens. The filter itself allows for so much
// after a gap, a parachute above all, that it would need many readings to be as
// sure.
func (t *Tracker) fallsSince(r *reading) {
	f := &t.filter
	if t.fl.apogee || !t.fl.burntOut || f.health < 0.6 {
		return
	}
	if dt := r.t - f.t; dt > 0 {
		t.fl.early = min(t.fl.early, f.faster(slows*(earlyS+dt)))
	}
}

// topFits asks the readings of the last second alone, without the filter's
// memory: does a parabola with curvature g through them not still climb?
func (t *Tracker) topFits(r *reading) bool {
	from := max(r.t-1, t.fl.liftoff+0.3)
	n := t.hist.since(from)
	sd := math.Sqrt(t.noise())
	a := t.hist.fit(0, n, -gravity*(1-t.filter.x[coast][xPort]), sd)
	if a.n < 4 {
		return true
	}
	return a.v-2.5*a.sdV < 0
}

// lastRise is when the filter's speed last was upward.
func (t *Tracker) lastRise() float64 {
	prev := t.hist.at(0)
	for i := 0; i < t.hist.n; i++ {
		r := t.hist.at(i)
		if r.v > 0 {
			return r.t + (prev.t-r.t)*r.v/max(r.v-prev.v, 1e-9)
		}
		prev = r
	}
	return prev.t
}

// fallsAnyway is the second way to an apogee, should the filter be lost: the
// readings fell for a good while and are clearly below the highest.
func (t *Tracker) fallsAnyway(r *reading) {
	n := t.hist.since(r.t - 1)
	sd := math.Sqrt(t.noise())
	a := t.hist.fit(0, n, 0, max(0.5, 2*sd))
	falls := a.n >= 5 && a.used > 0.7 && a.v < -1-5*a.sdV && a.v > -150 && a.h < t.fl.highest-2-4*sd &&
		math.Abs(t.medianOf(0, min(n, 5))-a.h) < max(2, 4*sd) // the line holds to its end
	if !falls {
		t.fl.falling = math.NaN()
		return
	}
	if math.IsNaN(t.fl.falling) {
		t.fl.falling = r.t
	}
	if r.t-t.fl.falling > 0.6 {
		t.apogee(r.t, t.fl.highestAt, 0.3, t.fl.highest, 2, "seen only in the falling readings")
	}
}

// apogee makes the event.
func (t *Tracker) apogee(now, at, sd, h, sdH float64, note string) {
	t.fl.apogee = true
	if top, m, ok := t.seenTop(at, h); ok && m > h+2+4*sdH {
		// The filter was lost when it was up there.
		at, sd, h, sdH = top, max(sd, 0.5), m, max(sdH, 2)
	}
	sd = math.Hypot(sd, t.badVentS(h))
	t.fl.apogeeAt, t.fl.calledM = min(at, now), h
	if !t.fl.burntOut {
		t.fl.burntOut = true
	}
	t.out.Phase = flight.Descent
	e := t.event(flight.Apogee, t.fl.apogeeAt, sd)
	e.AltitudeM, e.AltitudeSD = num(h), num(t.heightSD(now, h, 0, sdH*sdH))
	e.Note = note
	t.emitNow(e, now)
}

// reboot handles a board that started again. In flight its pressure readings
// stay comparable, so the flight goes on. On the ground its pad is learnt anew:
// its sensor has cooled or been carried, and an altitude of its own has a new
// zero.
func (t *Tracker) reboot(s *decode.Sample, now float64) {
	again := s.Boot < t.last.newest // of two boards with one id: neither has started again
	t.last.boot, t.last.newest = s.Boot, max(t.last.newest, s.Boot)
	t.last.seq = -1
	e := t.event(flight.Reboot, now, 0)
	e.AtSD = nil
	e.ID = fmt.Sprintf("%s-%s-boot%d", t.out.Rocket, flight.Reboot, s.Boot)
	e.Note = "the board started again"
	if t.flying {
		e.Note = "the board started again in flight"
	} else {
		e.Flight = 0
		t.out.Phase = flight.Waiting
		if !again {
			t.relearn()
		}
	}
	t.emitNow(e, now)
}
