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

// fitAll fits the path three times: to the upper half of the climb and all
// that follows, which shows the noise; to all of the coast up to the release,
// which shows where the boost ended; and to the top and all that follows,
// which is what the result is taken from.
func (a *analysis) fitAll() {
	if math.IsNaN(a.m.apogee) {
		return
	}
	end := math.Inf(1)
	climb := a.m.apogee - orElse(a.m.liftoff, a.r.t[0])
	upper := a.m.apogee - 0.55*climb
	if math.IsNaN(a.m.release) {
		// What falls without a parachute may tumble, with another drag than on
		// the way up: only its top is fitted.
		end = a.m.apogee + topS
	}
	if !math.IsNaN(a.m.release) && !a.m.told {
		a.searchRelease(upper)
	}
	f, err := a.fitBetween(upper, end, nil)
	if err != nil {
		return
	}
	f.refineNoise(a.r, &a.noise)
	a.fit = f
	if math.IsNaN(a.m.liftoff) {
		if g, err := a.fitBetween(upper, end, f); err == nil {
			a.fit = g
		}
		return
	}
	a.fitBoost(upper)
	ta, _ := f.path.apex(&f.q)
	start := max(ta-topS, min(upper, a.m.liftoff+0.3*climb))
	if a.burn.ok {
		start = max(ta-topS, min(upper, a.burn.burnout+2*a.burn.burnoutSD+0.02))
	}
	if g, err := a.fitBetween(start, end, f); err == nil {
		a.fit = g
	}
}

// When a release that nobody told may have been, in s after the apogee, and how
// far the fit may move it from there.
var untoldAfter = [...]float64{-0.8, -0.3, 0, 0.3, 0.7, 1.2, 1.8, 2.5, 3.5}

const untoldSD = 0.3

// searchRelease finds a release that the board did not tell. The live tracker
// sees it in the sink rate, where a parachute that opens near the apogee shows
// only once the rocket has gathered speed: seconds late at times. With the path
// held to such a moment nothing would fit, and the height at the top would be
// wrong by metres. So several moments up to the one seen are tried, and the one
// under which the readings are the most likely is where the fit begins.
func (a *analysis) searchRelease(upper float64) {
	seen := a.m.release
	best, found, sd := math.Inf(1), seen, a.m.releaseSD
	try := func(at, width float64) {
		a.m.release, a.m.releaseSD = at, width
		f, err := a.fitBetween(upper, math.Inf(1), nil)
		if err != nil {
			return
		}
		if cost := f.cost(); cost < best {
			best, found, sd = cost, at+f.q[pOpen], untoldSD
		}
	}
	try(seen, a.m.releaseSD)
	for _, after := range untoldAfter {
		if at := a.m.apogee + after; at < seen {
			try(at, untoldSD)
		}
	}
	a.m.release, a.m.releaseSD = found, sd
}

// cost is how badly the readings fit: the squares of the whitened residuals. A
// reading that was dropped counts as one at the limit of being dropped: a path
// must not do well by giving up the top of the flight.
func (f *fit) cost() float64 {
	return f.chi2*float64(f.used) + dropSD*dropSD*float64(len(f.t)-f.used)
}

// fitBoost finds the boost from the coast before the release.
func (a *analysis) fitBoost(upper float64) {
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
}

// fitBetween fits the path to the readings of the pad and those from start
// until end.
func (a *analysis) fitBetween(start, end float64, last *fit) (*fit, error) {
	pr := problem{r: a.r, start: start, noise: a.noise, iterations: 14}
	pr.noise.calmFrom, pr.noise.calmTo = a.m.liftoff, orElse(a.m.release, orElse(a.m.touchdown, math.Inf(1)))
	pr.path = path{anchor: a.m.apogee}
	if !math.IsNaN(a.m.release) {
		pr.path = path{anchor: a.m.release, canopy: true}
	}
	a.priors(&pr)
	if last != nil {
		pr.begin, pr.warm = last.q, 3
	}
	padEnd := orElse(a.m.liftoff, a.r.t[0]) - 0.2
	if a.burn.ok {
		padEnd = min(padEnd, a.burn.liftoff-2*a.burn.liftoffSD)
	}
	if a.r.at(padEnd) < 3 && !math.IsNaN(a.m.liftoff) {
		pr.noise.level = noPadVar // the first readings were taken for the pad's
	}
	for i, t := range a.r.t {
		if t < padEnd || t >= start && t <= end {
			pr.t = append(pr.t, t)
			pr.h = append(pr.h, a.r.h[i])
			pr.soft = append(pr.soft, a.bumpVar(t))
		}
	}
	if !math.IsNaN(a.m.touchdown) && end < a.m.touchdown+0.5 {
		pr.prior[pRest].sd = 0
	}
	f, err := pr.solve()
	if err != nil {
		return nil, err
	}
	return &f, nil
}

// noPadVar is the variance in m2 of a pad level that is not more than the first
// readings of a log which begins at liftoff.
const noPadVar = 2.0

// bumpVar is the variance in m2 that a reading may be off by because a nose
// came off or a servo moved: a pulse of pressure that is gone within 0.4 s.
func (a *analysis) bumpVar(t float64) float64 {
	if u := t - a.m.release; u > -0.05 && u < 0.45 {
		return 0.5
	}
	return 0
}

// Priors that hold where the configuration says nothing; medians, and sd of
// logarithms (common practice, no source).
const (
	waterDrag, solidDrag = 0.010, 0.003 // 1/m
	dragSD, knownDragSD  = 0.9, 0.4
	sinkDrag, sinkSD     = 0.4, 1.2 // 1/m: 5 m/s
	knownSinkSD          = 0.5      // the diameter is told
	acrossSD             = 0.12     // of the speed that reaches the top: 7 degrees
	portSD               = 0.0008   // m per (m/s)2: 1.6 % of the dynamic pressure
	fillM, fillSD        = 3.0, 0.7 // m
	fillDiameters        = 8.0      // of the canopy; Knacke, NWC TP 6575, from memory
	flat                 = 1e3
)

// priors sets what is known of the parameters before looking at the readings,
// and where to begin.
func (a *analysis) priors(pr *problem) {
	rk := &a.cfg.Rocket
	drag, sd := waterDrag, dragSD
	if rk.Kind == "solid" {
		drag = solidDrag
	}
	if rk.MassKg > 0 && rk.DiameterM > 0 && rk.Cd > 0 {
		drag, sd = 1.2*rk.Cd*math.Pi/4*sq(rk.DiameterM)/(2*rk.MassKg), knownDragSD
	}
	sink, sinkWide, fill := sinkDrag, sinkSD, fillM
	if rk.ParachuteM > 0 {
		fill = fillDiameters * rk.ParachuteM
	}
	if rk.MassKg > 0 && rk.ParachuteM > 0 {
		cd := rk.ParachuteCd
		if cd == 0 {
			cd = 0.75
		}
		sink = 1.2 * cd * math.Pi / 4 * sq(rk.ParachuteM) / (2 * rk.MassKg)
		sinkWide = knownSinkSD
	}
	top := orElse(a.m.apogeeM, 50)
	v0 := math.Sqrt(2 * gravity * max(top, 5))
	pr.prior = [nParams]prior{
		pHeight: {top, flat}, pSpeed: {0, flat}, pDrag: {math.Log(drag), sd},
		pAcross: {0.1 * v0, acrossSD * v0}, pPort: {0, portSD},
	}
	for i := range pr.begin {
		pr.begin[i] = pr.prior[i].mean
	}
	free := path{anchor: a.m.apogee}
	begin := pr.begin
	begin[pSpeed] = 0
	pr.begin[pHeight], pr.begin[pSpeed] = free.at(&begin, pr.path.anchor)
	if pr.path.canopy {
		pr.prior[pOpen] = prior{0, math.Hypot(a.m.releaseSD, 0.005)}
		pr.prior[pFill] = prior{math.Log(fill), fillSD}
		pr.prior[pCanopy] = prior{math.Log(sink), sinkWide}
		pr.begin[pFill], pr.begin[pCanopy] = math.Log(fill), math.Log(sink)
		a.beginCanopy(pr)
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
	i, j := a.r.at(a.m.release+1), a.r.at(end-0.3)
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
