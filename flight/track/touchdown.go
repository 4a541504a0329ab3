package track

import (
	"math"

	"padlark/flight"
)

// When a rocket lies still.
const (
	stillS     = 2.5 // s that it must
	stillM     = 1.2 // m between the thirds of it, at most, however gusty
	afterUpS   = 2.0 // s after liftoff before which nothing lies still
	silentS    = 20  // s of silence, after which a landing is concluded
	stillReads = 6
	// Far above the ground it lies still only where a tree or a roof holds it:
	// that may take longer to be sure of.
	aloftS    = 4.5
	aloftM    = 8.0  // m above the pad, or
	aloftPart = 0.03 // of the greatest height
	// What comes down slowly must have had the time to sink by so much, m.
	sinksM = 7.0
)

// findTouchdown looks for readings that have stopped moving, whatever the
// filter believes: a rocket that hits the ground obeys none of its modes.
func (t *Tracker) findTouchdown(r *reading) {
	if r.t-t.fl.liftoff < afterUpS {
		return
	}
	span := stillS
	if t.fl.inAir || r.h > max(aloftM, aloftPart*t.fl.highest) {
		span = aloftS
	}
	if fell := (t.fl.highest - r.h) / (r.t - t.fl.highestAt); fell*span < sinksM && fell > 0 {
		span = min(sinksM/fell, aloftS)
	}
	span = t.inGusts(span)
	n := t.hist.since(r.t - span)
	if n < stillReads || n == t.hist.n && n < historySize || r.t-t.hist.at(n-1).t < 0.7*span || t.hist.at(n-1).t < t.fl.liftoff+0.3 {
		return
	}
	// Rising to the top and falling from it may have the same median.
	if t.fl.apogee && !t.fl.inAir && t.hist.at(n-1).t < t.fl.apogeeAt {
		return
	}
	// The medians below cost: look ten times a second.
	if r.t < t.fl.stillLook {
		return
	}
	t.fl.stillLook = r.t + 0.1
	k := min(n/3, maxMedian)
	sd := math.Sqrt(t.noise())
	// Frames lost in bursts may leave the readings close together.
	if t.hist.at(k/2).t-t.hist.at(n-1-k/2).t < 0.5*span {
		return
	}
	late, mid, early := t.medianOf(0, k), t.medianOf((n-k)/2, k), t.medianOf(n-k, k)
	gust := math.Sqrt(t.fl.gust)
	wobble := math.Hypot(2.5*sd*1.25/math.Sqrt(float64(k)), 1.5*gust)
	if math.Abs(late-early) > min(stillM, 0.2+wobble) || math.Abs(mid-(late+early)/2) > min(stillM, 0.3+wobble) {
		return
	}
	t.land(r, t.medianOf(0, min(n, maxMedian)), sd)
}

// inGusts is a time in s of which stillness is to be made out, longer where the wind is
// as strong as to hold up what sinks slowly for that long.
func (t *Tracker) inGusts(span float64) float64 {
	return span * max(1, min(longestInGusts, math.Sqrt(t.fl.gust)/calmM))
}

// calmM is the rms of gusts in m that stillness allows for, and the factor that the
// history of a fast board has room for.
const calmM, longestInGusts = 0.6, 1.6

// medianOf is the median height of k readings from the given one back.
func (t *Tracker) medianOf(first, k int) float64 {
	var x [maxMedian]float64
	for i := range k {
		x[i] = t.hist.at(first + i).h
	}
	return median(x[:k])
}

// land dates the touchdown back to when the readings reached the level at
// which they stopped.
func (t *Tracker) land(r *reading, level, sd float64) {
	near := 0.4 + 2.5*sd + 1.5*math.Sqrt(t.fl.gust)
	at, misses := r.t, 0
	for i := range t.hist.n {
		x := t.hist.at(i)
		if math.Abs(x.h-level) <= near {
			at, misses = x.t, 0
			continue
		}
		misses++
		if misses >= 4 || x.h-level > 4*near && misses >= 2 {
			break
		}
	}
	if !t.fl.apogee {
		t.apogee(r.t, t.fl.highestAt, 0.5, t.fl.highest, 3, "seen only after landing")
	}
	e := t.event(flight.Touchdown, at, 0.1+near/5)
	if t.fl.inAir {
		e.Note = "first heard in the air: the pad is not known"
	} else {
		e.AltitudeM, e.AltitudeSD = num(level), num(t.heightSD(r.t, level, 0, sd*sd/9+t.fl.gust))
	}
	t.emitNow(e, r.t)
	t.ended(r.t)
}

// ended puts the tracker back on the ground.
func (t *Tracker) ended(now float64) {
	t.flying = false
	t.out.Phase = flight.Landed
	t.fl.landedAt = now
	t.pad.forget()
	t.hist.clear()
}

// longAgoS is how long before the last reading an apogee may be that was not called at it, s.
const longAgoS = 1.0

// silence concludes from nothing being heard.
func (t *Tracker) silence(now float64) {
	quiet := now - t.last.t
	if !t.flying || quiet < 0.3 {
		return
	}
	f := &t.filter
	if !t.fl.apogee && now >= t.fl.notBefore && f.w[coast]+f.w[canopy] > 0.98 && f.health > 0.6 {
		p := f.predict2apogee()
		past := quiet - max(p.inS, -longAgoS) // or what was heard would have told
		aside, hides := t.aside()
		if past > 5*math.Hypot(p.sdS, aside/gravity)+hides/gravity-earlyS && past > 0.3 {
			t.apogee(now, t.last.t+max(p.inS, -longAgoS), p.sdS, p.height, p.sdM, "predicted: nothing heard since before it")
		}
	}
	h, v, _, _ := f.mean()
	sink := max(1.5, -v)
	if t.fl.inAir {
		h = 100 // not known: allow for much
	}
	if quiet > silentS+1.5*max(h, 0)/sink {
		if !t.fl.apogee {
			t.apogee(now, t.fl.highestAt, 1, t.fl.highest, 5, "concluded: nothing heard since the climb")
		}
		wait := max(h, 0) / sink
		e := t.event(flight.Touchdown, t.last.t+wait, 1+wait/2)
		e.Note = "concluded from silence: time from the last height and sink rate heard"
		t.emitNow(e, now)
		t.ended(now)
	}
}
