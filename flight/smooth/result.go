package smooth

import (
	"math"
	"time"

	"padlark/flight/atmos"
	"padlark/flight/track"
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
	untoldKelvin = 9.7   // 19 K hold 95 of 100 where it is anywhere from -5 to 35 degC
	ownKelvin    = 3.0   // of the atmosphere that a board computes with
	linearity    = 0.002 // of the pressure difference
)

func (a *analysis) kelvinSD() float64 {
	if a.airSD > 0 { // a receiver has told it
		return a.airSD
	}
	if a.r.fixes {
		return 0
	}
	if a.cfg.Site.TemperatureC != nil {
		return toldKelvin
	}
	return untoldKelvin
}

// systematic is what height h is uncertain by whatever the readings say.
func (a *analysis) systematic(h float64) Parts {
	if a.r.fixes {
		return Parts{Sensor: track.ReceiverM}
	}
	if a.r.plain {
		// The board used an atmosphere of its own, the standard one mostly.
		own := math.Hypot(math.Hypot(a.kelvinSD(), ownKelvin), a.r.doubt)
		if a.airSD > 0 { // that is in it
			own = a.airSD
		}
		return Parts{Temperature: math.Abs(h) * own / a.r.kelv, Sensor: linearity * math.Abs(h)}
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
	if o.LaunchedAt != nil && o.ApogeeAt != nil && o.ApogeeAt.Before(*o.LaunchedAt) {
		o.LaunchedAt, o.TimeToApogeeS, o.TimeToApogeeSD, o.DurationS = nil, nil, nil, nil
	}
	o.Judge(a.verdict())
}

// fillTop is apogee and release.
func (a *analysis) fillTop() {
	o, f := &a.out, a.fit
	ta, _ := f.path.apex(&f.q)
	// Heights and speeds are those of the readings: by how much they are too long,
	// the systematic part says, and it is the same for what is compared with them.
	top := func(q *params) float64 { _, h := f.path.apex(q); return h * (1 + q[pScale]) }
	ha := top(&f.q)
	at := a.r.time(ta)
	o.ApogeeAt = &at
	a.parts = a.systematic(ha)
	a.parts.Readings = math.Sqrt(sq(a.belief.topM) + sq(tooWide*f.sd(top)) + sq(a.ventAtTop(ha)))
	sd := a.parts.total()
	if d := math.Abs(ha - a.live.m); d > 2*a.live.mSD+farM+farPart*math.Abs(ha) {
		sd = math.Max(sd, d/2)
		a.parts.Readings = math.Sqrt(sq(sd) - sq(a.parts.total()) + sq(a.parts.Readings))
	}
	o.ApogeeM, o.ApogeeSD = num(ha), num(sd)
	a.fillRelease(ta)
}

// Where the result is further than this from the live call, and than that was sure of,
// one of the two is wrong for a reason that neither knows: half of the distance is then
// the least spread, so that a result is never worse than the call by more than it says.
// In s, in m, and as a part of the height.
const farS, farM, farPart = 0.3, 1.0, 0.01

// ventAtTop is what the vent may err by at the top, m: the rocket flies across there,
// how fast nobody knows.
func (a *analysis) ventAtTop(h float64) float64 {
	across := a.portSD * 2 * gravity * math.Max(h, 0) * acrossSD * acrossSD
	return math.Hypot(across, a.badVent()*(badVentM+badVentPart*math.Abs(h)))
}

// badVent is how sure it is that the vent is a bad one, 0 to 1. The path takes its
// error for an even part of the dynamic pressure, at once: the bay behind it lags, and
// the flow about it changes when the rocket turns.
func (a *analysis) badVent() float64 { return math.Min(1, sq(a.portSD/badPortSD)) }

// ventErr is how large the vent's error is, as a part of a bad one's: no less than it is
// found to be, with what is open of that. Where the climb shows that the vent errs little,
// a doubt about its kind costs nothing.
func (a *analysis) ventErr(f *fit) float64 {
	found := math.Sqrt(sq(f.q[pPort])+f.cov[pPort][pPort]) / badPortSD
	return math.Min(1, math.Max(a.badVent(), found))
}

// What is left open by that at the top, m and as a part of the height; of its time, as a
// part of that of the climb; and of an inferred release, s (over drawn flights). What
// flies across fast at the top loses that speed under the canopy only, so that its
// readings climb a second longer.
const (
	badVentM, badVentPart = 1.0, 0.02
	badVentTime           = 0.05
	badVentLagS           = 0.25
)

// fillRelease is the release: told by the board, or inferred where something that
// can be a parachute slowed the fall. When the readings leave it open by more than
// unknownS, no number is given.
func (a *analysis) fillRelease(ta float64) {
	o, f, b := &a.out, a.fit, &a.belief
	switch {
	case !f.path.canopy:
	case a.m.told:
		rel := f.path.anchor + f.q[pOpen]
		t := a.r.time(rel)
		o.ReleaseAt = &t
		o.ReleaseLagS = num(rel - ta)
		// The board knows when it released; when the apogee was, it does not.
		o.ReleaseLagSD = num(math.Hypot(f.sd(func(q *params) float64 { return q[pOpen] }), a.apogeeTimeSD()))
	case a.opened() && b.ok && b.known():
		t := a.r.time(ta + b.lag)
		o.ReleaseAt, o.ReleaseLagS, o.ReleaseLagSD = &t, num(b.lag), num(b.sd)
	}
}

// known says whether one number can stand for the release: not where two explanations
// are alive, for between them it surely was not.
func (b *belief) known() bool {
	_, _, both := b.two()
	return !both && b.sd < unknownS+unknownPart*math.Abs(b.lag)
}

// A release that is not known better than this is not known: a standard deviation
// in s, and as a part of the time since the apogee.
const unknownS, unknownPart = 0.4, 0.2

// tooWide takes back some of what the fit allows for at the apogee and is mostly
// not there: a bump at the release, the least gusts and wander. Over flights of the
// usual kind the errors are 0.95 of what it says, over those drawn at their worst
// 1.05.
const tooWide = 0.97

// apogeeTimeSD is the standard deviation in s of the apogee's time.
func (a *analysis) apogeeTimeSD() float64 {
	f := a.fit
	t, h := f.path.apex(&f.q)
	climb := math.Sqrt(2 * math.Max(h, 0) / gravity)
	sd := math.Hypot(math.Hypot(a.belief.topS, badVentTime*climb*a.ventErr(f)), tooWide*f.sd(func(q *params) float64 { t, _ := f.path.apex(q); return t }))
	d := math.Abs(t - a.live.at)
	if d > 2*a.live.atSD+farS {
		sd = math.Max(sd, d/2)
	}
	if f.misfits() && !math.IsNaN(d) { // what it says of its own errors counts for nothing
		sd = math.Max(sd, math.Max(d, a.live.atSD))
	}
	return math.Hypot(sd, a.lateSD)
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
	if a.badVent() > 0.5 && math.Abs(b.liftoff-a.m.liftoff) > 2*eventS {
		// Followed down to the pad, the error of a bad vent grows with the square of
		// the speed: what was seen there knows better.
		b.liftoff, b.liftoffSD = a.m.liftoff, eventS
	}
	if a.push.ok {
		b.liftoff, b.liftoffSD = a.push.liftoff, a.push.liftoffSD
	}
	if first := a.r.t[0]; b.liftoff < first {
		// A log that begins with the liftoff, or after it: nobody heard it earlier.
		b.liftoffSD = math.Hypot(b.liftoffSD, (first-b.liftoff)/2)
		b.liftoff = first
	}
	t := a.r.time(b.liftoff)
	o.LaunchedAt = &t
	ta, _ := a.fit.path.apex(&a.fit.q)
	o.TimeToApogeeS = num(ta - b.liftoff)
	o.TimeToApogeeSD = num(math.Hypot(b.liftoffSD, a.apogeeTimeSD()))
	tail, tailSD := waterTail, waterTailSD
	if a.cfg.Rocket.Kind == "solid" {
		tail, tailSD = solidTail, solidTailSD
	}
	o.BurnoutS = num(b.length * tail)
	o.BurnoutSD = num(math.Hypot(b.lengthSD*tail, b.length*tailSD))
	if a.push.ok {
		o.BurnoutS, o.BurnoutSD = num(a.push.burnout-b.liftoff), num(math.Hypot(a.push.burnoutSD, b.liftoffSD)+tailPart*(a.push.burnout-b.liftoff))
	}
	// While the thrust fades the rocket already slows down: it is fastest
	// somewhat after the even boost would have ended.
	_, late := a.coast.path.at(&a.coast.q, b.burnout+0.5*(tail-1)*b.length)
	late *= 1 + a.coast.q[pScale]
	speed := max(0, (b.speed+late)/2)
	spread := math.Sqrt(sq(b.speedSD) + sq(a.scaleSD()*speed) + sq((b.speed-late)/2))
	if a.push.ok {
		w := sq(spread) / (sq(spread) + sq(a.push.gainSD))
		speed, spread = speed+w*(a.push.gain-speed), spread*math.Sqrt(1-w)
	}
	if speed < mostSpeed { // a drag too strong blows up backwards in time
		o.MaxSpeedMps, o.MaxSpeedSD = num(speed), num(spread)
	}
	if peak, ok := a.peakForce(); ok {
		o.MaxAccelMps2, o.MaxAccelSD = num(peak-gravity), num(0.03*peak+1)
	}
}

// mostSpeed is what no rocket of a hobby reaches, m/s.
const mostSpeed = 1500.0

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
	a.fitDescent()
	if a.out.DescentMps == nil && a.sank() {
		a.sinkFromReadings()
	}
}

// fitDescent is what the fit says of it.
func (a *analysis) fitDescent() {
	o, f := &a.out, a.fit
	if math.IsNaN(a.m.touchdown) {
		if f.path.canopy && a.opened() {
			a.sinkWithoutGround()
		}
		return
	}
	most := a.m.touchdown - f.path.anchor + 60
	touch := a.m.touchdown
	agree := min(agreeS, agreePart*(touch-a.m.apogee))
	if f.path.canopy && !a.shock {
		// The path knows better than the live call to within a reading, but a
		// path that is seconds away is that of another descent.
		if fitted := f.path.touchdown(&f.q, most); math.Abs(fitted-touch) < agree {
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
		return (1 + q[pScale]) * (h - q[pRest]) / (down - from)
	}
	v := mean(&f.q)
	if v > 0 && !math.IsInf(v, 0) && math.Abs(f.path.touchdown(&f.q, most)-a.m.touchdown) < agree {
		down := f.path.touchdown(&f.q, most)
		from, _ := f.path.carries(&f.q, down-0.02)
		a.giveSink(v, f.spread(mean), down-from)
	}
}

// giveSink gives the mean sink rate over the last so many seconds, where the fit leaves
// sd of it open.
func (a *analysis) giveSink(v, sd, lasts float64) {
	from := v // the speed that it comes to this sink from
	if a.fit.path.stages {
		from = math.Max(v, math.Sqrt(gravity/math.Exp(a.fit.q[pCanopy])))
	}
	a.sinkSD = math.Sqrt(sq(tooNarrow*sd) + sq(unevenSink*v) + sq(from*settlesS/lasts))
	a.out.DescentMps, a.out.DescentSD = num(v), num(math.Hypot(a.sinkSD, a.scaleSD()*v))
}

// How far the fitted touchdown may be from the one seen in the readings, in s and
// as a part of the descent; otherwise the parachute was not what the path takes it
// for, and no sink rate is given.
const (
	agreeS    = 3.0
	agreePart = 0.4
)

// opened says whether the parachute slows the rocket at all. What nobody told must
// have slowed it to the sink of a parachute before the ground: without one a rocket
// that tumbles slows down too, and a fall ends.
func (a *analysis) opened() bool { return a.fit.path.canopy && a.slows(a.fit) }

// slows is opened for any fit with a parachute.
func (a *analysis) slows(f *fit) bool {
	q := &f.q
	last := q[pCanopy]
	if f.path.stages {
		last = q[pLower]
	}
	if last < q[pDrag]+math.Log(2) {
		return false
	}
	if a.m.told {
		return math.Exp(last) > toldDrag
	}
	end := min(orElse(a.m.touchdown, math.Inf(1)), a.r.t[len(a.r.t)-1]) - 0.1
	_, v := f.path.at(q, end)
	return math.Exp(last) > gravity/(fastestSink*fastestSink) && v > -fastestSink
}

// What still counts as a parachute (common practice, no source).
const (
	fastestSink = 16.0 // m/s
	toldDrag    = 0.03 // 1/m: 18 m/s
)

// What the fit does not know of the sink rate: how far the mean may be from that of
// a parachute of constant drag, as a part of it, because it swings and the air
// moves (common practice, no source); from when on it carries, s, for it may come to
// its sink from above or below and breathe; and by how much the gusts and the wander of
// the descent, which a short one does not tell, widen its errors (over drawn
// flights in gusts of up to 1.4 m rms).
const (
	unevenSink = 0.003
	settlesS   = 0.1
	tooNarrow  = 1.08
)

// sinkWithoutGround is the sink rate of a log that ends in the air.
func (a *analysis) sinkWithoutGround() {
	f := a.fit
	end := a.r.t[len(a.r.t)-1]
	mean := func(q *params) float64 {
		from, h := f.path.carries(q, end)
		h1, _ := f.path.at(q, end)
		return (1 + q[pScale]) * (h - h1) / (end - from)
	}
	if v := mean(&f.q); v > 0 && !math.IsInf(v, 0) && end > a.m.release+1.5 {
		from, _ := f.path.carries(&f.q, end)
		a.giveSink(v, f.spread(mean), end-from)
	}
}

// fillFromEvents is the result of a flight that no path fits: what the live tracker
// saw, and where the readings refute it, what they show.
func (a *analysis) fillFromEvents() {
	o := &a.out
	at := func(s float64) *time.Time {
		if math.IsNaN(s) {
			return nil
		}
		t := a.r.time(s)
		return &t
	}
	o.LaunchedAt, o.ApogeeAt, o.TouchdownAt = at(a.m.liftoff), at(a.m.apogee), at(a.m.touchdown)
	if !math.IsNaN(a.m.apogee) {
		o.ApogeeM, a.eventSD = num(a.m.apogeeM), a.m.apogeeSD
		a.parts = a.systematic(a.m.apogeeM)
		a.parts.Readings = a.m.apogeeMSD
		o.ApogeeSD = num(a.parts.total())
		if !math.IsNaN(a.m.liftoff) {
			o.TimeToApogeeS, o.TimeToApogeeSD = num(a.m.apogee-a.m.liftoff), num(math.Hypot(a.m.apogeeSD, eventS))
		}
	}
	if a.m.told && !math.IsNaN(a.m.release) {
		o.ReleaseAt = at(a.m.release)
		if !math.IsNaN(a.m.apogee) {
			o.ReleaseLagS, o.ReleaseLagSD = num(a.m.release-a.m.apogee), num(math.Hypot(a.m.releaseSD, a.m.apogeeSD))
		}
	}
	a.sinkFromReadings()
}

// eventS is the standard deviation in s of a live call of a liftoff.
const eventS = 0.15

// sinkFromReadings is the mean slope of the last part of the descent.
func (a *analysis) sinkFromReadings() {
	to := orElse(a.m.touchdown, a.r.t[len(a.r.t)-1]) - 0.3
	from := max(orElse(a.m.apogee, to)+1.5, orElse(a.m.release, 0)+1)
	if s := a.r.findStage(from, to); s.ok {
		from = s.at + 0.5
	}
	if to-from < 1 {
		return
	}
	v, half := -a.r.slope(from, to), -a.r.slope((from+to)/2, to)
	if v > 0.3 && v < fastestSink && math.Abs(half-v) < 0.4*v {
		a.sinkSD = math.Hypot(0.07*v, sinkErrM/(to-from))
		a.out.DescentMps, a.out.DescentSD = num(v), num(math.Hypot(a.sinkSD, a.scaleSD()*v))
	}
}

// sinkErrM is how far off either end of a descent may be read, m: gusts and swing.
const sinkErrM = 0.7

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
		s.ApogeeTimeSD = a.apogeeTimeSD()
	}
	return s
}
