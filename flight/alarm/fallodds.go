package alarm

import (
	"math"
	"slices"

	"padlark/decode"
	"padlark/flight/atmos"
)

// fallOdds weighs the whole fall since the apogee: does something brake it, or
// nothing? Both are mixtures of falls that are reckoned along with the readings:
// without a parachute with some terminal speeds, with one that meets the air at
// some moment, fills over some metres and lets it sink at some rate. Height and
// time of the apogee and what speed does to the vent are free within their
// standard deviations in each. The ratio of the two likelihoods is a sequential
// test (Wald 1945; Ville's inequality; from memory): where it begins at 1 and the
// fall is one of the first mixture, it ever reaches A in one fall of A at the most.
type fallOdds struct {
	ring  [fallRing]seen
	n     int // readings ever taken
	taken int // of them, by the hypotheses
	hyps  []hypothesis
	shut  hypothesis // an open one before its parachute meets the air: until then all of them are this one
	sd    float64    // of one reading, m
	top   float64    // time of the apogee
	lead  float64    // log of how much likelier no parachute is
	fits  float64    // how well the likeliest closed fall fits, 0 to 1
	last  float64    // time of the last reading taken
	rough float64    // m2, mean square by which readings miss the likeliest fall of late
	drop  float64    // m, by about how much the readings fall as the parachute takes away what it flew across
}

// fallRing is how many readings are kept until the apogee or the release is known.
const fallRing = 512

// seen is one reading of height in m above an arbitrary level.
type seen struct{ t, h float64 }

// hypothesis is one way to fall, as far as the last reading.
type hypothesis struct {
	closed     bool
	body       float64 // drag per mass of the body, 1/m
	canopy     float64 // of the full parachute, 1/m
	from       float64 // s after the apogee, when it meets the air
	fillM      float64 // m in which it fills
	weight     float64 // log, of what was known before
	opened     bool    // or closed: reckoned by itself
	t, v, drop float64 // s after the apogee, m/s and m downward
	flown      float64 // m since it met the air
	x          [free]float64
	p          [free][free]float64
	like       float64 // log, with the weight once it is reckoned by itself
	fit        float64 // running mean of how well the readings fit
	missed     float64 // m, by how much the last reading did
}

// Free in each hypothesis: the height of the top, when it was, and by which part of
// v²/2g a reading is high.
const free = 3

// What the readings are taken for.
const (
	swingM     = 0.5  // m rms, of a rocket that swings under its canopy (common practice, no source: 6 Pa)
	swingGrowS = 2.0  // s after the apogee until it swings like that
	swingS     = 0.04 // s, readings closer than this tell less that is new
	hopeless   = 30.0 // log, behind the likeliest of a mixture: such a fall adds nothing to it and is left alone
	oddShare   = 0.15 // of the readings come from anywhere
	oddM       = 10.0 // m, half width of where from
	topM       = 3.0  // m, sd of the first guess of the top's height
	topS       = 0.2  // s, sd of the apogee's time at least
	ventPart   = 0.08 // sd of a vent's error in parts of the dynamic pressure, where the climb did not show it
	ventTurns  = 0.04 // what turning over adds to it
	fallSteps  = 0.04 // s, longest step of a fall
	wanderM2   = 0.2  // m2/s, by how much a fall leaves what is reckoned
	shakenM    = 4.0  // m, most that one reading counts for in how shaken they are
	shakenS    = 0.3  // s, memory of it
	acrossPart = 0.5  // of the least speed that reaches the top: how fast it may still fly across there
	fitOf      = 10.0 // whole readings that the fit is judged by: a parachute that comes out may feign a fall for less
	heldS      = 0.5  // s that a value may be sent again
	judgedS    = 12.0 // s after the apogee from which no more is weighed
)

// note keeps the newest reading.
func (o *fallOdds) note(v *view) {
	h := v.get(decode.PressurePa)
	switch {
	case h > 1000:
		h = -atmos.GasConstantISO * v.site.Kelvin() / gravity * math.Log(h/atmos.StandardPressure)
	default:
		if h = v.get(decode.AltitudeM); math.IsNaN(h) {
			return
		}
	}
	t := v.self.view.book.seconds(v.s.At)
	if last := o.ring[(o.n+fallRing-1)%fallRing]; o.n > 0 && (t <= last.t || h == last.h && t-last.t < heldS) {
		return // a value that is sent again was not measured again
	}
	o.ring[o.n%fallRing] = seen{t, h}
	o.n++
}

// ventError is by which part of v²/2g a reading is high, and its sd: as in the climb,
// but for what the other way of flying does to it.
func (v *view) ventError() (part, sd float64) {
	if math.IsNaN(v.vent) || math.IsNaN(v.ventSD) {
		return 0, ventPart
	}
	return v.vent, math.Hypot(v.ventSD, ventTurns)
}

// begin starts the test anew at an apogee, with the openings that are possible by
// what is known of the release.
func (o *fallOdds) begin(v *view) {
	o.top, o.lead, o.fits, o.rough = v.apogeeAt, 0, 1, 0
	o.hyps = o.hyps[:0]
	o.closedFalls(v)
	o.openFalls(v)
	var total [2]float64
	for i := range o.hyps {
		total[at(o.hyps[i].closed)] += math.Exp(o.hyps[i].weight)
	}
	var p [free][free]float64
	when := topS
	if v.apogeeSD > topS {
		when = v.apogeeSD
	}
	vent, ventSD := v.ventError()
	o.drop = math.Hypot(vent, ventSD) * acrossPart * acrossPart * math.Max(0, v.apogeeM)
	p[0][0], p[1][1], p[2][2] = topM*topM, when*when, ventSD*ventSD
	for i := range o.hyps {
		h := &o.hyps[i]
		h.weight -= math.Log(total[at(h.closed)])
		h.opened, h.like = h.closed, h.weight
		h.p, h.fit, h.x[2] = p, 1, vent
	}
	o.shut = hypothesis{body: o.hyps[len(o.hyps)-1].body, from: math.Inf(1), p: p, fit: 1, x: [free]float64{2: vent}}
	o.sd = v.readingSD()
	// From half a second before the apogee on, as far as it is kept.
	o.taken = max(0, o.n-fallRing)
	for o.taken < o.n && o.ring[o.taken%fallRing].t < o.top-0.5 {
		o.taken++
	}
	o.last = o.top - 0.6
	if level, ok := o.levelAtTop(); ok {
		for i := range o.hyps {
			o.hyps[i].x[0] = level
		}
		o.shut.x[0] = level
	}
	o.weigh()
}

func at(closed bool) int {
	if closed {
		return 1
	}
	return 0
}

// levelAtTop is the median of the readings about the apogee.
func (o *fallOdds) levelAtTop() (float64, bool) {
	var near reservoir
	for i := o.taken; i < o.n; i++ {
		if r := o.ring[i%fallRing]; math.Abs(r.t-o.top) < 0.3 {
			near.add(r.h)
		}
	}
	if near.n > 0 {
		return near.median(), true
	}
	if o.n == 0 {
		return 0, false
	}
	return o.ring[(o.n-1)%fallRing].h, true
}

// readingSD is the standard deviation of one reading in m, without the swing.
func (v *view) readingSD() float64 {
	if v.self.pad.noise > 0 {
		return math.Max(0.15, v.self.pad.noise/v.perMetre())
	}
	return 0.5
}

// closedFalls adds the falls that nothing brakes: as the body is described, and
// tumbling; or as bottles and tubes fall (common practice, no source).
func (o *fallOdds) closedFalls(v *view) {
	add := func(terminal, weight float64) {
		o.hyps = append(o.hyps, hypothesis{closed: true, body: gravity / (terminal * terminal), from: math.Inf(1), weight: math.Log(weight)})
	}
	if vt := v.bodyTerminal(); !math.IsInf(vt, 1) {
		add(vt, 0.5)
		add(math.Max(0.75*vt, 12), 0.3)
		add(math.Max(0.55*vt, 12), 0.2)
		return
	}
	if v.maybeTwo() { // slower falls are then those of the small one
		add(40, 0.5)
		add(60, 0.5)
		return
	}
	for _, vt := range [4]float64{15, 20, 28, 45} {
		add(vt, 0.25)
	}
}

// openFalls adds the falls under a parachute.
func (o *fallOdds) openFalls(v *view) {
	body := 25.0
	if vt := v.bodyTerminal(); !math.IsInf(vt, 1) {
		body = vt
	}
	wide := 0.7
	if v.rocket.ParachuteM > 0 {
		wide = v.rocket.ParachuteM
	}
	fills := []wayOf{{2, 0.4}, {4.5, 0.45}, {8, 0.15}}
	if v.maybeTwo() { // the small one of two hangs on the lines of a large one
		fills = []wayOf{{2, 0.3}, {4.5, 0.4}, {8, 0.2}, {14, 0.1}}
	}
	for _, from := range v.openings() {
		for _, sink := range v.sinks() {
			for _, fill := range fills {
				o.hyps = append(o.hyps, hypothesis{
					body: gravity / (body * body), canopy: gravity / (sink.of * sink.of), from: from.of, fillM: fill.of * wide,
					weight: math.Log(from.weight * sink.weight * fill.weight),
				})
			}
		}
	}
}

// wayOf is a value and its weight.
type wayOf struct{ of, weight float64 }

// openings are the moments at which a parachute may meet the air, in s after the
// apogee. After a told release it comes out within inflate_s, a few later. Untold,
// the release may have come at any time up to the end of the delay.
func (v *view) openings() []wayOf {
	slow := v.limits.InflateS / 0.8
	if v.told() {
		from := math.Max(v.releaseAt-v.apogeeAt, -0.3)
		return []wayOf{{from + 0.05*slow, 0.36}, {from + 0.2*slow, 0.42}, {from + 0.35*slow, 0.21}, {from + 0.5*slow, 0.003}, {from + 0.7*slow, 3e-4}}
	}
	var out []wayOf
	delay, most := v.releaseDelay()+v.laterBy(openingSDs), outMost*slow
	for from := -0.25; from < delay+most; from += 0.15 {
		// Released at the very end and slowest to come out: that is rare.
		out = append(out, wayOf{from, min(1, (delay+most+0.05-from)/most)})
	}
	n := float64(len(out))
	return append(out, wayOf{delay + most + 0.1*slow, 0.004 * n}, wayOf{delay + most + 0.35*slow, 4e-4 * n})
}

// outMost is how long after the release a parachute may take to meet the air, in s,
// for the usual inflate_s.
const outMost = 0.35

// openingSDs is by how many standard deviations the apogee may have been later for an
// opening that nobody tells of.
const openingSDs = 2.0

// told says whether the release was told, rather than seen in the fall itself.
func (v *view) told() bool { return !math.IsNaN(v.releaseAt) && v.tellsRelease() }

// sinks are the rates in m/s at which it may come down under a parachute. One that
// lets it fall fast is meant for the first part of a fall from a height.
func (v *view) sinks() []wayOf {
	out := []wayOf{{2.5, 0.15}, {4, 0.35}, {6, 0.35}, {8.5, 0.12}}
	if own := v.parachuteSpeed(); !math.IsInf(own, 1) {
		out = []wayOf{{0.75 * own, 0.25}, {own, 0.45}, {1.3 * own, 0.25}, {1.8 * own, 0.02}}
	}
	if v.maybeTwo() {
		return append(out, wayOf{11, 0.1}, wayOf{15, 0.1}, wayOf{19, 0.08}, wayOf{24, 0.06}, wayOf{30, 0.05}, wayOf{38, 0.01})
	}
	return append(out, wayOf{11, 0.005}, wayOf{15, 5e-4}, wayOf{21, 1e-4})
}

// maybeTwo says whether it may come down under a small parachute first.
func (v *view) maybeTwo() bool {
	return v.apogeeM > firstOfTwoM && (v.rocket.Kind == "solid" || v.apogeeM > 2*firstOfTwoM)
}

// firstOfTwoM is the height in m from which a rocket with a motor may come down under a
// small parachute first; one without from twice that (common practice, no source).
const firstOfTwoM = 150

// weigh takes the readings that the hypotheses have not seen yet.
func (o *fallOdds) weigh() {
	if o.taken < o.n-fallRing {
		o.taken = o.n - fallRing
	}
	took := o.taken < o.n
	for ; o.taken < o.n; o.taken++ {
		r := o.ring[o.taken%fallRing]
		gap := r.t - o.last
		worth := min(1, gap/swingS)
		o.last = r.t
		if r.t-o.top > judgedS {
			continue
		}
		sd := math.Hypot(o.sd, swingM*min(1, max(0.2, (r.t-o.top)/swingGrowS)))
		if shaken := math.Sqrt(o.rough) / sd; shaken > 1 { // such errors last, too
			sd, worth = sd*shaken, worth/shaken
		}
		now := r.t - o.top
		best, missed := math.Inf(-1), 0.0
		shut := 0 // how many are
		for i := range o.hyps {
			h := &o.hyps[i]
			if !h.opened {
				if now < h.from {
					shut++
					continue
				}
				h.open(&o.shut)
				h.p[0][0] += o.drop * o.drop
			}
			h.goOn(now, gap, r.h, sd*sd, worth)
			if h.like > best {
				best, missed = h.like, h.missed
			}
		}
		if shut > 0 {
			o.shut.goOn(now, gap, r.h, sd*sd, worth)
			for i := range o.hyps {
				if h := &o.hyps[i]; !h.opened && h.weight+o.shut.like > best {
					best, missed = h.weight+o.shut.like, o.shut.missed
				}
			}
		}
		o.notice(missed, gap)
	}
	if took {
		o.compare()
	}
}

// notice follows by how much the readings miss even the likeliest fall: a canopy that
// comes out or twists may shake them for a while, and then they tell less.
func (o *fallOdds) notice(missed, gap float64) {
	missed = min(math.Abs(missed), shakenM)
	o.rough += (missed*missed - o.rough) * -math.Expm1(-gap/shakenS)
}

// steady says whether the likeliest fall has explained the readings of late: which of
// two falls is the less wrong says nothing where both are.
func (o *fallOdds) steady() bool { return math.Sqrt(o.rough) < 2+2*o.sd }

// compare sums up both mixtures.
func (o *fallOdds) compare() {
	most := [2]float64{math.Inf(-1), math.Inf(-1)}
	for i := range o.hyps {
		h := &o.hyps[i]
		if !h.opened {
			h.like = h.weight + o.shut.like
		}
		if k := at(h.closed); h.like > most[k] {
			most[k] = h.like
			if h.closed {
				o.fits = h.fit
			}
		}
	}
	var sum [2]float64
	o.hyps = slices.DeleteFunc(o.hyps, func(h hypothesis) bool {
		behind := h.like - most[at(h.closed)]
		sum[at(h.closed)] += math.Exp(behind)
		return behind < -hopeless
	})
	o.lead = most[1] + math.Log(sum[1]) - most[0] - math.Log(sum[0])
}

// open begins to reckon a fall by itself, from where all that are still shut are.
func (h *hypothesis) open(shut *hypothesis) {
	h.opened, h.like = true, h.weight+shut.like
	h.t, h.v, h.drop, h.x, h.p, h.fit = shut.t, shut.v, shut.drop, shut.x, shut.p, shut.fit
}

// goOn falls to a time in s after the apogee and weighs the reading of then, gap s
// after the last.
func (h *hypothesis) goOn(t, gap, reading, variance, worth float64) {
	h.p[0][0] += wanderM2 * gap
	h.fallTo(t)
	h.take(reading, variance, worth)
}

// fallTo goes on to a time in s after the apogee.
func (h *hypothesis) fallTo(t float64) {
	if t <= 0 { // still climbing: drag matters little so near the top
		h.t, h.v, h.drop = t, gravity*t, gravity*t*t/2
		return
	}
	if h.t < 0 {
		h.t, h.v, h.drop = 0, 0, 0
	}
	for h.t < t {
		dt := min(fallSteps, t-h.t)
		if h.t < h.from {
			dt = min(dt, h.from-h.t)
		}
		if dt < 1e-9 {
			dt = 1e-9
		}
		// By the exact step of a fall with the drag at its beginning: v = vt tanh(g t/vt +
		// artanh(v0/vt)), and coth for tanh above the terminal speed vt, are one by the
		// theorems of addition.
		vt := math.Sqrt(gravity / h.drag())
		u, grown := h.v/vt, math.Tanh(gravity*dt/vt)
		v := vt * (u + grown) / (1 + u*grown)
		h.drop += dt * (h.v + v) / 2
		if h.t >= h.from {
			h.flown += dt * (h.v + v) / 2
		}
		h.v, h.t = v, h.t+dt
	}
}

// drag is the drag per mass now: that of the body and of what the canopy has filled.
func (h *hypothesis) drag() float64 {
	if h.t < h.from {
		return h.body
	}
	part := min(1, (h.flown+0.1)/h.fillM)
	return h.body + h.canopy*part*part
}

// take weighs a reading of variance r; worth is the part of it that is new.
func (h *hypothesis) take(y, r, worth float64) {
	by := [free]float64{1, h.v, h.v * h.v / (2 * gravity)}
	e := y + h.drop
	var c [free]float64
	s := 0.0
	for i := range free {
		e -= by[i] * h.x[i]
		for j := range free {
			c[i] += h.p[i][j] * by[j]
		}
		s += by[i] * c[i]
	}
	h.missed = e
	good := (1 - oddShare) * math.Exp(-e*e/(2*(s+r))) / math.Sqrt(2*math.Pi*(s+r))
	odd := oddShare / (math.Pi * oddM * (1 + e*e/(oddM*oddM)))
	h.like += worth * math.Log(good+odd)
	in := good / (good + odd)
	h.fit += (in - h.fit) * worth / fitOf
	if in < 1e-3 || worth <= 0 {
		return
	}
	gain := 1 / (s + r/(worth*in))
	for i := range free {
		h.x[i] += c[i] * gain * e
		for j := range free {
			h.p[i][j] -= c[i] * c[j] * gain
		}
	}
}
