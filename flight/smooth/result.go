package smooth

import (
	"fmt"
	"math"

	"padlark/flight"
	"padlark/flight/atmos"
)

// Parts are the standard deviations in m that make up the apogee's.
type Parts struct {
	Readings    float64 // noise, gusts and wander of the readings, and the pad level
	Temperature float64 // of the site: 0.35 % of the height per K
	Lapse       float64 // the air cools otherwise than by the standard
	Sensor      float64 // linearity
}

// What is assumed of the site and the sensor (common practice, no source).
const (
	toldKelvin   = 1.5   // sd of a temperature that somebody typed in
	untoldKelvin = 8.0   // sd of the default
	linearity    = 0.002 // of the pressure difference
)

func (a *analysis) kelvinSD() float64 {
	if a.cfg.Site.TemperatureC != nil {
		return toldKelvin
	}
	return untoldKelvin
}

// systematic is what height h is uncertain by whatever the readings say.
func (a *analysis) systematic(h float64) Parts {
	if a.r.plain {
		// The board used an atmosphere of its own, 15 degrees mostly.
		return Parts{Temperature: math.Abs(h) * untoldKelvin / a.r.kelv, Sensor: linearity * math.Abs(h)}
	}
	b := a.r.air.Budget(h, atmos.Errors{TemperatureK: a.kelvinSD(), LapseKPerM: atmos.DefaultLapseSD, LinearityPart: linearity})
	return Parts{Temperature: b.Temperature, Lapse: b.Lapse, Sensor: b.Linearity}
}

func (p Parts) total() float64 {
	return math.Sqrt(sq(p.Readings) + sq(p.Temperature) + sq(p.Lapse) + sq(p.Sensor))
}

func num(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

// fillResult writes the result from the fit, or from the live events where
// there is none.
func (a *analysis) fillResult() {
	o := &a.out
	if a.fit == nil {
		a.fillFromEvents()
	} else {
		a.fillTop()
		a.fillBoost()
		a.fillDescent()
	}
	if o.ApogeeAt != nil && !math.IsNaN(a.m.calledLate) {
		o.ApogeeCalledLate = num(a.m.calledLate - o.ApogeeAt.Sub(a.r.ref).Seconds())
	}
	if o.LaunchedAt != nil && o.TouchdownAt != nil {
		o.DurationS = num(o.TouchdownAt.Sub(*o.LaunchedAt).Seconds())
	}
	o.Verdict = a.verdict()
}

// fillTop is apogee and release.
func (a *analysis) fillTop() {
	o, f := &a.out, a.fit
	ta, ha := f.path.apex(&f.q)
	at := a.r.time(ta)
	o.ApogeeAt = &at
	a.parts = a.systematic(ha)
	a.parts.Readings = tooWide * f.sd(func(q *params) float64 { _, h := f.path.apex(q); return h })
	o.ApogeeM, o.ApogeeSD = num(ha), num(a.parts.total())
	if f.path.canopy {
		rel := f.path.anchor + f.q[pOpen]
		t := a.r.time(rel)
		o.ReleaseAt = &t
		o.ReleaseLagS = num(rel - ta)
		o.ReleaseLagSD = num(f.sd(func(q *params) float64 { t, _ := f.path.apex(q); return f.path.anchor + q[pOpen] - t }))
	}
}

// tooWide takes back some of what the fit allows for at the apogee and is mostly
// not there: a bump at the release, the least gusts and wander. Over flights of the
// usual kind the errors are 0.95 of what it says, over those drawn at their worst
// 1.05.
const tooWide = 0.97

// apogeeTimeSD is the standard deviation in s of a fit's apogee time.
func (f *fit) apogeeTimeSD() float64 {
	return tooWide * f.sd(func(q *params) float64 { t, _ := f.path.apex(q); return t })
}

// How much longer the thrust lasts than an even one of the same impulse: what
// is left of the air pushes on after the water, a motor fades (computed from
// the physics of flight/model; sd over the rockets).
const (
	waterTail, waterTailSD = 1.4, 0.4
	solidTail, solidTailSD = 1.1, 0.2
)

// fillBoost is liftoff, burnout and what was greatest.
func (a *analysis) fillBoost() {
	o, b := &a.out, &a.burn
	if !b.ok {
		if !math.IsNaN(a.m.liftoff) {
			t := a.r.time(a.m.liftoff)
			o.LaunchedAt = &t
		}
		return
	}
	// The level of a log that begins at the liftoff is that of its first readings.
	b.liftoff = max(b.liftoff, a.r.t[0])
	t := a.r.time(b.liftoff)
	o.LaunchedAt = &t
	ta, _ := a.fit.path.apex(&a.fit.q)
	o.TimeToApogeeS = num(ta - b.liftoff)
	o.TimeToApogeeSD = num(math.Hypot(b.liftoffSD, a.fit.apogeeTimeSD()))
	tail, tailSD := waterTail, waterTailSD
	if a.cfg.Rocket.Kind == "solid" {
		tail, tailSD = solidTail, solidTailSD
	}
	o.BurnoutS = num(b.length * tail)
	o.BurnoutSD = num(math.Hypot(b.lengthSD*tail, b.length*tailSD))
	// While the thrust fades the rocket already slows down: it is fastest
	// somewhat after the even boost would have ended.
	_, late := a.coast.path.at(&a.coast.q, b.burnout+0.5*(tail-1)*b.length)
	speed := max(0, (b.speed+late)/2)
	scale := a.scaleSD()
	o.MaxSpeedMps = num(speed)
	o.MaxSpeedSD = num(math.Sqrt(sq(b.speedSD) + sq(scale*speed) + sq((b.speed-late)/2)))
	if peak, ok := a.peakForce(); ok {
		o.MaxAccelMps2, o.MaxAccelSD = num(peak-gravity), num(0.03*peak+1)
	}
}

// peakForce is the greatest reading of an accelerometer in the boost. ok is
// false without one, and when it clipped: three readings at the same highest
// value. Pressure alone knows the mean of the boost, not its peak.
func (a *analysis) peakForce() (peak float64, ok bool) {
	at, n := 0, 0
	for i := a.r.at(a.burn.liftoff - 0.1); i < len(a.r.t) && a.r.t[i] < a.burn.burnout+0.1; i++ {
		f := a.r.force[i]
		switch {
		case math.IsNaN(f):
			continue
		case f > peak+0.5:
			peak, at = f, 1
		case f > peak-0.5:
			peak, at = max(f, peak), at+1
		}
		n++
	}
	return peak, n >= 3 && at < 3 && peak > 2*gravity
}

// scaleSD is the relative uncertainty of all heights and speeds.
func (a *analysis) scaleSD() float64 {
	p := a.systematic(100)
	return p.total() / 100
}

// fillDescent is the sink rate and the touchdown.
func (a *analysis) fillDescent() {
	o, f := &a.out, a.fit
	if math.IsNaN(a.m.touchdown) {
		if f.path.canopy && a.opened() {
			a.sinkWithoutGround()
		}
		return
	}
	most := a.m.touchdown - f.path.anchor + 60
	touch := a.m.touchdown
	if f.path.canopy {
		if fitted := f.path.touchdown(&f.q, most); !math.IsInf(fitted, 1) {
			touch = fitted
		}
	}
	t := a.r.time(touch)
	o.TouchdownAt = &t
	if !f.path.canopy || !a.opened() {
		return
	}
	mean := func(q *params) float64 {
		down := f.path.touchdown(q, most)
		from, h := f.path.carries(q, down-0.02)
		return (h - q[pRest]) / (down - from)
	}
	v := mean(&f.q)
	agree := min(agreeS, agreePart*(touch-a.m.release))
	if v > 0 && !math.IsInf(v, 0) && math.Abs(touch-a.m.touchdown) < agree {
		a.sinkSD = math.Hypot(tooNarrow*f.spread(mean), unevenSink*v)
		o.DescentMps, o.DescentSD = num(v), num(math.Hypot(a.sinkSD, a.scaleSD()*v))
	}
}

// How far the fitted touchdown may be from the one seen in the readings, in s and
// as a part of the descent; otherwise the parachute was not what the path takes it
// for, and no sink rate is given.
const (
	agreeS    = 3.0
	agreePart = 0.4
)

// opened says whether the parachute slows the rocket at all.
func (a *analysis) opened() bool {
	q := &a.fit.q
	return q[pCanopy] > q[pDrag]+math.Log(3) && math.Exp(q[pCanopy]) > 0.03
}

// What the fit does not know of the sink rate: how far the mean may be from that of
// a parachute of constant drag, as a part of it, because it swings and the air
// moves (common practice, no source); and by how much the gusts and the wander of
// the descent, which a short one does not tell, widen its errors (over drawn
// flights in gusts of up to 1.4 m rms).
const (
	unevenSink = 0.0005
	tooNarrow  = 1.08
)

// sinkWithoutGround is the sink rate of a log that ends in the air.
func (a *analysis) sinkWithoutGround() {
	f := a.fit
	end := a.r.t[len(a.r.t)-1]
	mean := func(q *params) float64 {
		from, h := f.path.carries(q, end)
		h1, _ := f.path.at(q, end)
		return (h - h1) / (end - from)
	}
	if v := mean(&f.q); v > 0 && end > f.path.anchor+1.5 {
		a.sinkSD = math.Hypot(tooNarrow*f.spread(mean), unevenSink*v)
		a.out.DescentMps, a.out.DescentSD = num(v), num(math.Hypot(a.sinkSD, a.scaleSD()*v))
	}
}

// fillFromEvents is the result of a flight that no path fits.
func (a *analysis) fillFromEvents() {
	o := &a.out
	for i := range a.events {
		e := &a.events[i]
		if e.Flight != o.Flight {
			continue
		}
		at := e.At
		switch e.Kind {
		case flight.Liftoff:
			o.LaunchedAt = &at
		case flight.Apogee:
			o.ApogeeAt = &at
			o.ApogeeM, o.ApogeeSD = e.AltitudeM, e.AltitudeSD
			if e.AtSD != nil {
				a.eventSD = *e.AtSD
			}
			if e.AltitudeM != nil && e.AltitudeSD != nil {
				a.parts = a.systematic(*e.AltitudeM)
				a.parts.Readings = math.Sqrt(max(0, sq(*e.AltitudeSD)-sq(a.parts.total()))) // the live total has both
				o.ApogeeSD = num(a.parts.total())
			}
		case flight.Release:
			o.ReleaseAt = &at
		case flight.Touchdown:
			o.TouchdownAt = &at
		}
	}
	if o.LaunchedAt != nil && o.ApogeeAt != nil {
		o.TimeToApogeeS = num(o.ApogeeAt.Sub(*o.LaunchedAt).Seconds())
	}
	if o.ReleaseAt != nil && o.ApogeeAt != nil {
		o.ReleaseLagS = num(o.ReleaseAt.Sub(*o.ApogeeAt).Seconds())
	}
}

// Limits of the verdict (common practice, no source).
const (
	hardMps  = 8.0 // sink rate above which a landing is hard
	earlyMps = 8.0 // speed above which a release strains the parachute
)

// verdict is one word and a reason.
func (a *analysis) verdict() string {
	o := &a.out
	delay := a.cfg.Rocket.ReleaseDelayS
	if delay == 0 {
		delay = 1
	}
	if last, lost := a.lostClimbing(); lost {
		return lostWords(last)
	}
	switch {
	case o.ApogeeAt == nil:
		return "look: the top of the flight was not heard"
	case o.ReleaseAt == nil:
		if o.TouchdownAt == nil {
			return "look: no release was seen before the readings end"
		}
		return "bad: it came down without a parachute"
	case a.fit != nil && !math.IsNaN(a.m.touchdown) && !a.opened():
		return "bad: released, but nothing slowed it down"
	case o.ReleaseLagS != nil && *o.ReleaseLagS > delay:
		return fmt.Sprintf("bad: released %.1f s after apogee, at about %.0f m/s downward", *o.ReleaseLagS, a.releaseSpeed())
	case o.ReleaseLagS != nil && *o.ReleaseLagS < -0.3:
		return fmt.Sprintf("look: released %.1f s before apogee, at about %.0f m/s upward", -*o.ReleaseLagS, a.releaseSpeed())
	case o.DescentMps != nil && *o.DescentMps > hardMps:
		return fmt.Sprintf("look: it sank at %.1f m/s, which is a hard landing", *o.DescentMps)
	case o.TouchdownAt == nil:
		return "look: the readings end before the landing"
	case o.DescentMps == nil:
		return "look: the sink rate is not known"
	}
	return fmt.Sprintf("good: released %s apogee, sank at %.1f m/s", lagWords(*o.ReleaseLagS), *o.DescentMps)
}

func lagWords(s float64) string {
	if s < 0 {
		return fmt.Sprintf("%.2f s before", -s)
	}
	return fmt.Sprintf("%.2f s after", s)
}

// releaseSpeed is the vertical speed at the release without its sign, m/s.
func (a *analysis) releaseSpeed() float64 {
	if a.fit == nil {
		return math.Abs(*a.out.ReleaseLagS) * gravity
	}
	_, v := a.fit.path.at(&a.fit.q, a.fit.path.anchor+a.fit.q[pOpen])
	return math.Abs(v)
}

// series is the smoothed flight.
func (a *analysis) series() Series {
	m := motion{f: a.fit, coast: a.fit, b: a.burn, white: a.noise.white, liftoff: orElse(a.m.liftoff, a.r.t[0]), release: a.m.release}
	if a.coast != nil {
		m.coast = a.coast
	}
	if !a.burn.ok && a.fit != nil {
		m.b.burnout, m.b.liftoff = a.r.t[0], a.r.t[0]
		if !math.IsNaN(a.m.liftoff) {
			m.f = nil // a climb that is not understood
		}
	}
	m.fallen = a.m.apogee + topS
	if a.fit != nil && !a.fit.path.canopy {
		a.fit.touch = orElse(a.m.touchdown, math.Inf(1))
	}
	s := smoothSeries(a.r, &m)
	s.ApogeeParts, s.ApogeeTimeSD, s.DescentReadingsSD = a.parts, a.eventSD, a.sinkSD
	if a.fit != nil {
		s.ApogeeTimeSD = a.fit.apogeeTimeSD()
	}
	return s
}
