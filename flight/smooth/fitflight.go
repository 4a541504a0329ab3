package smooth

import (
	"math"
	"time"

	"padlark/decode"
	"padlark/flight"
)

// liftoffGuess is when the readings stop to be those of the pad.
func (a *analysis) liftoffGuess(samples []decode.Sample) time.Time {
	for _, e := range a.events {
		if e.Kind == flight.Liftoff {
			return e.At
		}
	}
	return samples[0].At
}

// topS is how long before the apogee the readings begin to count for it. At
// 20 m/s and less, drag and tilt are small and well enough known; further down
// an error in them would outweigh what more readings add.
const topS = 2.0

// calmTopS is how much longer where the vent is surely a fair one, s: then the readings
// of the climb tell the time of the top better than those of the descent.
const calmTopS = 2.0

// fitAll fits the path three times: to the upper half of the climb and all
// that follows, which shows the noise; to all of the coast up to the release,
// which shows where the boost ended; and to the top and all that follows,
// which is what the result is taken from.
func (a *analysis) fitAll() {
	a.findTop()
	if math.IsNaN(a.m.apogee) {
		return
	}
	a.noise.guessSwing(a.r, a.m.apogee, a.m.touchdown)
	a.clean = a.r.cleanFrom(orElse(a.m.liftoff, a.r.t[0]), a.m.apogee, a.noise.white)
	climb := a.m.apogee - orElse(a.m.liftoff, a.r.t[0])
	upper := a.m.apogee - 0.55*climb
	if a.m.told {
		a.tellStages(upper)
	} else {
		a.inferRelease(upper)
	}
	end := math.Inf(1)
	if math.IsNaN(a.m.release) {
		// What falls without a parachute may tumble, with another drag than on
		// the way up: only its top is fitted.
		end = a.m.apogee + topS
	} else if a.m.told {
		a.noise.swingsFrom(a.m.apogee, a.m.release, a.m.touchdown)
	}
	f, err := a.fitBetween(upper, end, nil)
	if err != nil {
		return
	}
	a.judgeBump(f)
	a.judgePort(upper, end)
	a.judgeForce(upper, end)
	if g, err := a.fitBetween(upper, end, f); err == nil {
		f = g
	}
	defer func() {
		if !a.stands(a.fit) {
			a.fit = nil
		}
	}()
	if !a.belief.ok { // it has not been done there
		f.refineNoise(a.r, &a.noise)
	}
	a.fit = f
	if math.IsNaN(a.m.liftoff) {
		if g, err := a.fitBetween(upper, end, f); err == nil {
			a.fit = g
		}
		return
	}
	a.fitBoost(upper)
	ta, _ := f.path.apex(&f.q)
	from := ta - topS - calmTopS*(1-a.badVent())
	start := max(from, min(upper, a.m.liftoff+0.3*climb))
	if a.burn.ok {
		start = max(from, min(upper, a.burn.burnout+2*a.burn.burnoutSD+0.02))
	}
	if g, err := a.fitBetween(start, end, f); err == nil {
		a.fit = g
	}
}

// judgePort finds how likely the vent is a bad one: how much better a path that allows
// for it explains the readings. What it may err by is the mean over both.
func (a *analysis) judgePort(start, end float64) {
	if a.portSD != portSD {
		return
	}
	open := opening{a.m.release, a.m.releaseSD, a.fills, a.m.second}
	fair := a.problem(start, end, open)
	f, err := fair.solve()
	a.portSD = badPortSD
	bad := a.problem(start, end, open)
	g, err2 := bad.solve()
	p := badPortPart
	switch {
	case err2 != nil:
		p = 0
	case err == nil:
		p = 1 / (1 + (1-badPortPart)/badPortPart*math.Exp(f.evidence(&fair)-g.evidence(&bad)))
	}
	a.portSD = math.Sqrt((1-p)*portSD*portSD + p*badPortSD*badPortSD)
}

// tellStages looks for a second stage of a descent whose release was told.
func (a *analysis) tellStages(upper float64) {
	end := orElse(a.m.touchdown, a.r.t[len(a.r.t)-1])
	s := a.r.findStage(a.m.release+2, end-0.3)
	if !s.ok {
		return
	}
	one := a.problem(upper, math.Inf(1), opening{at: a.m.release, sd: a.m.releaseSD, fills: a.fills})
	f, err1 := one.solve()
	two := a.problem(upper, math.Inf(1), opening{a.m.release, a.m.releaseSD, a.fills, s})
	g, err2 := two.solve()
	if err2 == nil && (err1 != nil || g.evidence(&two)+math.Log(stagePart) > f.evidence(&one)) {
		a.m.second = s
	}
}

// cost is how badly the readings fit: the squares of the whitened residuals. A
// reading that was dropped counts as one at the limit of being dropped: a path
// must not do well by giving up the top of the flight.
func (f *fit) cost() float64 {
	return f.chi2*float64(f.used) + dropSD*dropSD*float64(len(f.t)-f.used)
}

// misfits says whether the path leaves so much unexplained that what it says of its own
// errors is not to be believed.
func (f *fit) misfits() bool { return f.cost() > misfit*float64(len(f.t)) }

// fitBoost finds the boost from the coast before the release.
func (a *analysis) fitBoost(upper float64) {
	// Down at the pad every doubt about the vent counts by the square of the speed: it
	// is taken for a bad one where that is the likelier, and else for a fair one.
	defer func(sd float64) { a.portSD = sd }(a.portSD)
	if a.badVent() < 0.5 && a.forceTrust != trusted { // an accelerometer tells a bad one from drag
		a.portSD = portSD
	} else {
		a.portSD = badPortSD
	}
	solid := a.cfg.Rocket.Kind == "solid"
	a.coast = a.fit
	for range 2 {
		b := findBurn(a.r, a.coast, solid, a.m.liftoff)
		if !b.ok {
			return
		}
		a.burn = b
		start := min(b.burnout+2*b.burnoutSD+0.02, upper)
		g, err := a.fitBetween(start, a.coast.path.anchor+1, a.coast)
		if err != nil {
			return
		}
		a.coast = g
	}
	if b := findBurn(a.r, a.coast, solid, a.m.liftoff); b.ok {
		a.burn = b
	}
	a.findPush()
}

// fitBetween fits the path to the readings of the pad and those from start
// until end.
func (a *analysis) fitBetween(start, end float64, last *fit) (*fit, error) {
	pr := a.problem(start, end, opening{a.m.release, a.m.releaseSD, a.fills, a.m.second})
	if last != nil {
		pr.begin, pr.warm = pr.carryOver(last), 3
	}
	f, err := pr.solve()
	if last == nil && (err != nil || f.misfits()) {
		// One that flies across fast at the top is not found from a slow one.
		pr.begin[pAcross] = fastAcross * math.Sqrt(2*gravity*max(pr.prior[pHeight].mean, 0))
		if g, err2 := pr.solve(); err2 == nil && (err != nil || g.evidence(&pr) > f.evidence(&pr)) {
			f, err = g, nil
		}
	}
	if err != nil {
		return nil, err
	}
	return &f, nil
}

// fastAcross is a fast flight across the top, as a part of the speed that reaches it.
const fastAcross = 0.3

// opening is a release that a fit is to assume; NaN for none.
type opening struct {
	at, sd float64 // s
	fills  filling
	second stage // a second parachute, if ok
}

// anchorBefore is how far before the expected release a path is anchored, in its
// standard deviations.
const anchorBefore = 4

// problem is the fit of the path with one opening to the readings of the pad and
// those from start until end.
func (a *analysis) problem(start, end float64, open opening) problem {
	start = max(start, a.clean)
	pr := problem{r: a.r, start: start, noise: a.noise, iterations: 16, ground: a.m.touchdown}
	pr.noise.calmFrom, pr.noise.calmTo = a.m.liftoff, orElse(a.m.release, orElse(a.m.touchdown, math.Inf(1)))
	pr.path = path{anchor: a.m.apogee}
	if !math.IsNaN(open.at) {
		pr.path = path{anchor: open.at - anchorBefore*open.sd, canopy: true, fills: open.fills, stages: open.second.ok}
	}
	a.priors(&pr, open)
	padEnd := orElse(a.m.liftoff, a.r.t[0]) - 0.2
	if a.burn.ok {
		padEnd = min(padEnd, a.burn.liftoff-2*a.burn.liftoffSD)
	}
	if a.r.at(padEnd) < 3 && !math.IsNaN(a.m.liftoff) {
		pr.noise.level = noPadVar // the first readings were taken for the pad's
	}
	a.fillReadings(&pr, padEnd, end, open.at)
	if !math.IsNaN(a.m.touchdown) && end < a.m.touchdown+0.5 {
		pr.prior[pRest].sd = 0
	}
	if a.forceTrust == trusted {
		pr.pulls, pr.forceSD = a.pulls(&pr, false), a.forceSD
	}
	return pr
}

// Readings that lie this far before the liftoff or after the release and the apogee,
// in s, are taken together by thinS: the motion is slow there, and the noise longer.
const (
	wholeBeforeS, wholeAfterS = 1.0, 6.0
	thinS                     = 0.2
	medianVar                 = 1.4 // variance of the median of some readings over that of their mean
)

// fillReadings gives a fit its readings: those of the pad until padEnd, and those from
// its start until end.
func (a *analysis) fillReadings(pr *problem, padEnd, end, release float64) {
	from := orElse(a.m.liftoff, a.r.t[0]) - wholeBeforeS
	to := orElse(a.m.apogee, from) + wholeAfterS
	// Not by the release that this fit assumes: fits are compared with each other.
	if seen := a.m.release + wholeAfterS; seen > to { // NaN is not
		to = seen
	}
	if touch := a.m.touchdown; !math.IsNaN(touch) {
		to = math.Min(to, touch)
	}
	n := len(a.r.t)
	for i := 0; i < n; {
		t := a.r.t[i]
		if !(t < padEnd || t >= pr.start && t <= end) {
			i++
			continue
		}
		k := 1
		nearTouch := math.Abs(t-a.m.touchdown) < 1
		for t < from || t > to && !nearTouch {
			last := i + k
			if last >= n || a.r.t[last]-t > thinS || a.r.pulse[last] != a.r.pulse[i] ||
				t < padEnd != (a.r.t[last] < padEnd) || math.Abs(a.r.t[last]-a.m.touchdown) < 1 || a.r.t[last] > end {
				break
			}
			k++
		}
		h, at, soft := a.r.h[i], t, a.bumpVar(t, release)
		if k > 2 {
			h, at = median(a.r.h[i:i+k]), median(a.r.t[i:i+k])
			soft += a.noise.white * (medianVar/float64(k) - 1)
		} else {
			k = 1
		}
		if a.r.pulse[i] {
			soft = pulseVar
		}
		pr.t, pr.h, pr.soft = append(pr.t, at), append(pr.h, h), append(pr.soft, soft)
		i += k
	}
}

// carryOver begins a fit where another ended, whose path may be anchored
// elsewhere.
func (pr *problem) carryOver(last *fit) params {
	q := last.q
	if pr.path.anchor == last.path.anchor {
		return q
	}
	fl := last.path.flow(&last.q)
	s := fl.to(last.path.anchor, pr.path.anchor, anchored(&last.q))
	q[pHeight], q[pSpeed], q[pAcross] = s.h, s.v, s.u
	if pr.path.canopy {
		moved := last.path.anchor - pr.path.anchor
		q[pOpen] = max(0, q[pOpen]+moved)
		q[pSecond] += moved
		if !last.path.canopy {
			q[pOpen] = pr.prior[pOpen].mean
		}
		if pr.path.stages && !last.path.stages {
			q[pSecond], q[pLower], q[pCanopy] = pr.prior[pSecond].mean, q[pCanopy], pr.prior[pCanopy].mean
		}
	}
	return q
}

// noPadVar is the variance in m2 of a pad level that is not more than the first
// readings of a log which begins at liftoff.
const noPadVar = 2.0

// bumpVar is the variance in m2 that a reading may be off by, so long after the
// release, because a nose came off or a servo moved: a pulse of pressure that is
// gone within 0.4 s. One that is inferred is that of the cloth, which comes out some
// tenths after the nose: the pulse must not draw it there.
func (a *analysis) bumpVar(t, release float64) float64 {
	pulse, after := a.bumpSeen, t-release
	switch {
	case !math.IsNaN(a.nose): // the same for all releases that are compared
		if t > a.nose-noseMostS/2 && t < a.nose+noseGoneS {
			return noseVar
		}
		return 0
	case math.IsNaN(after): // nothing was released
		return 0
	case !a.m.told:
		// Where it begins is not known to a reading: an edge there would make one
		// reading more or less count for much.
		return pulse * max(0, min(1, (after+0.05+outMost)/slopeS, (0.4-after)/slopeS))
	case after > bumpFrom && after < bumpTo:
		return pulse
	}
	return 0
}

// judgeBump looks whether a told release shook the readings at all: where none of the
// tenths after it is off the path by more than the noise, they count in full, and half a
// second at the top is worth as much as all of the descent.
func (a *analysis) judgeBump(f *fit) {
	if !a.m.told || !f.path.canopy {
		return
	}
	expect := make([]float64, len(f.t))
	f.path.heights(&f.q, f.t, f.start, math.NaN(), expect, nil)
	usual := a.noise.white + a.noise.gust
	release, sum, n := a.m.release, 0.0, 0.0
	part := math.Inf(-1) // the tenth that is summed up
	for i, t := range f.t {
		after := t - release
		if after <= bumpFrom || after >= bumpTo {
			continue
		}
		if k := math.Floor(after / bumpPartS); k > part {
			part, sum, n = k, 0, 0
		}
		sum, n = sum+sq(f.h[i]-expect[i]), n+1
		if sum/n > usual*(1+bumpSDs*math.Sqrt(2/n)) {
			return
		}
	}
	a.bumpSeen = bumpLeast
}

// The pulse of a told release: from when to when after it, s; its variance where it
// shows, and where it does not, m2; how long a part of it is looked at, s, and by how
// many standard deviations that must be beyond the noise (common practice, no source).
const (
	bumpFrom, bumpTo     = -0.05, 0.45
	bumpUsual, bumpLeast = 3.0, 0.01
	bumpPartS            = 0.1
	bumpSDs              = 2.5
)

// slopeS is how long the beginning and the end of that pulse take, s: it is as likely
// before the cloth as after, so that it draws the release neither way.
const slopeS = 0.3

// outMost is how long after the command the cloth comes out at the most, s (common
// practice, no source).
const outMost = 0.35

// Priors that hold where the configuration says nothing; medians, and sd of
// logarithms (common practice, no source).
const (
	waterDrag, solidDrag = 0.010, 0.003 // 1/m
	dragSD, knownDragSD  = 0.9, 0.4
	sinkDrag, sinkSD     = 0.4, 1.2 // 1/m: 5 m/s
	knownSinkSD          = 0.5      // the diameter is told
	acrossSD             = 0.12     // of the speed that reaches the top: 7 degrees
	portSD               = 0.0008   // m per (m/s)2: 1.6 % of the dynamic pressure
	badPortSD            = 0.008    // of a vent that somebody drilled anywhere: 16 %
	badPortPart          = 0.3      // of the boards have one
	fillM, fillSD        = 3.0, 0.7 // m
	fillDiameters        = 6.5      // of the canopy: 8 for a flat circle (Knacke, NWC TP 6575, from memory), 4 for less cloth
	knownFillSD          = 0.4      // the diameter is told: 3 to 14 of them
	fillTimeS, fillTSD   = 0.5, 0.8 // near the top there is little wind to fill it
	flat                 = 1e3
)

// priors sets what is known of the parameters before looking at the readings,
// and where to begin.
func (a *analysis) priors(pr *problem, open opening) {
	rk := &a.cfg.Rocket
	drag, sd := waterDrag, dragSD
	if rk.Kind == "solid" {
		drag = solidDrag
	}
	if rk.MassKg > 0 && rk.DiameterM > 0 && rk.Cd > 0 {
		drag, sd = 1.2*rk.Cd*math.Pi/4*sq(rk.DiameterM)/(2*rk.MassKg), knownDragSD
	}
	sink, sinkWide, fill, wide := sinkDrag, sinkSD, fillM, fillSD
	if rk.ParachuteM > 0 {
		fill, wide = fillDiameters*rk.ParachuteM, knownFillSD
	}
	if rk.MassKg > 0 && rk.ParachuteM > 0 {
		sink = 1.2 * rk.CanopyCd() * math.Pi / 4 * sq(rk.ParachuteM) / (2 * rk.MassKg)
		sinkWide = knownSinkSD
	}
	top := orElse(a.m.apogeeM, 50)
	v0 := math.Sqrt(2 * gravity * max(top, 5))
	pr.prior = [nParams]prior{
		pHeight: {top, flat}, pSpeed: {0, flat}, pDrag: {math.Log(drag), sd},
		pAcross: {0.1 * v0, acrossSD * v0}, pPort: {0, a.portSD}, pScale: {0, a.kelvinSD() / a.r.kelv},
	}
	for i := range pr.begin {
		pr.begin[i] = pr.prior[i].mean
	}
	free := path{anchor: a.m.apogee}
	begin := pr.begin
	begin[pSpeed] = 0
	pr.begin[pHeight], pr.begin[pSpeed] = free.at(&begin, pr.path.anchor)
	if pr.path.canopy {
		if open.fills != withAir {
			fill, wide = fillTimeS, fillTSD
		}
		pr.prior[pOpen] = prior{anchorBefore * open.sd, math.Hypot(open.sd, 0.005)}
		pr.prior[pFill] = prior{math.Log(fill), wide}
		pr.begin[pOpen] = pr.prior[pOpen].mean
		pr.prior[pCanopy] = prior{math.Log(sink), sinkWide}
		pr.begin[pFill], pr.begin[pCanopy] = math.Log(fill), math.Log(sink)
		a.beginCanopy(pr)
		if second := open.second; second.ok {
			for k, v := range map[int]float64{pCanopy: second.before, pLower: second.after} {
				pr.begin[k] = math.Log(gravity / (v * v))
				pr.prior[k] = prior{pr.begin[k], stageSinkSD}
			}
			pr.begin[pSecond] = second.at - pr.path.anchor
			pr.prior[pSecond] = prior{pr.begin[pSecond], secondSD}
		}
	}
	pr.begin[pRest] = -1e6 // no ground
	if !math.IsNaN(a.m.touchdown) {
		rest := a.restLevel()
		pr.begin[pRest] = rest
		pr.prior[pRest] = prior{rest, flat}
	}
}

// beginCanopy starts the parachute's drag at the sink rate between release and
// touchdown.
func (a *analysis) beginCanopy(pr *problem) {
	end := orElse(a.m.touchdown, a.r.t[len(a.r.t)-1])
	i, j := a.r.at(orElse(a.m.release, a.m.apogee+1)+1), a.r.at(end-0.3)
	if j-i < 6 || a.r.t[j-1]-a.r.t[i] < 0.5 {
		return
	}
	k := (j - i) / 3
	dt := median(a.r.t[j-k:j]) - median(a.r.t[i:i+k])
	sink := (median(a.r.h[i:i+k]) - median(a.r.h[j-k:j])) / dt
	if sink > 0.5 && sink < 40 {
		p := pr.prior[pCanopy]
		pr.begin[pCanopy] = max(p.mean-2*p.sd, min(p.mean+2*p.sd, math.Log(gravity/(sink*sink))))
	}
}

// restLevel is where the readings end.
func (a *analysis) restLevel() float64 {
	i := a.r.at(a.m.touchdown + 0.5)
	if len(a.r.h)-i < 3 {
		i = max(0, len(a.r.h)-3)
	}
	return median(a.r.h[i:])
}
