package smooth

import "math"

// seenWindowS is over how long a level must be held to count as one that was
// reached: a bump of a nose that comes off is shorter.
const seenWindowS = 1.2

// seenTop is where the readings alone are the highest between from and to: the
// greatest running median. ok is false when there are too few.
func (r *readings) seenTop(from, to float64) (t, h float64, ok bool) {
	h = math.Inf(-1)
	i, j := r.at(from), r.at(to)
	step := max(1, (j-i)/2000)
	for k := i; k < j; k += step {
		lo, hi := r.at(r.t[k]-seenWindowS/2), r.at(r.t[k]+seenWindowS/2)
		lo, hi = max(i, min(lo, k-1)), min(j, max(hi, k+2))
		if hi-lo < 3 {
			continue
		}
		if m := median(r.h[lo:hi]); m > h {
			t, h, ok = r.t[k], m, true
		}
	}
	return t, h, ok
}

// roundTop is the highest vertex of parabolas of curvature g through the readings of
// topRoundS: a bump is not round. ok is false when none fits.
func (r *readings) roundTop(from, to, white float64) (t, h float64, ok bool) {
	h = math.Inf(-1)
	limit := roundSDs * math.Sqrt(white+roundVar)
	for at := from + topRoundS/2; at < to; at += 0.1 {
		i, j := r.at(at-topRoundS/2), r.at(at+topRoundS/2)
		if j-i < 5 || r.t[j-1]-r.t[i] < 0.7*topRoundS {
			continue
		}
		// h + g/2 u2 is a straight line in u.
		var x, y []float64
		for k := i; k < j; k++ {
			u := r.t[k] - at
			x, y = append(x, u), append(y, r.h[k]+gravity/2*u*u)
		}
		v, left := line(x, y)
		if math.Sqrt(left/float64(len(x))) > limit || math.Abs(v/gravity) > topRoundS/4 {
			continue
		}
		mean := 0.0
		for k := range x {
			mean += (y[k] - v*x[k]) / float64(len(x))
		}
		if top := mean + v*v/(2*gravity); top > h {
			t, h, ok = at+v/gravity, top, true
		}
	}
	return t, h, ok
}

// What is looked at for a round top: s; and how far the readings may scatter about
// it, in standard deviations of their noise and of what gusts add, m2.
const (
	topRoundS = 1.2
	roundSDs  = 3.0
	roundVar  = 0.1
)

// A live call that is this vague gives way to a round top close by, which is good to
// roundSD, s.
const vagueSD, roundSD = 0.25, 0.15

// Live calls that the readings refute: how far off they must be, s, and by how much
// higher the readings must go on, in m and as a part of the height.
const (
	refutedS              = 0.8
	refutedM, refutedPart = 3.0, 0.02
)

// findTop looks whether the live call of the apogee is that of the readings. A dip
// just after the burnout has been taken for one, with a kilometre still to climb,
// and the noise of a thrust. A round top that is higher is the right one; without
// one, that is kept of the call and the highest readings whose path explains the
// flight better. Without a call the readings' own top is taken.
func (a *analysis) findTop() {
	from, to := orElse(a.m.liftoff, a.r.t[0]), orElse(a.m.touchdown, a.r.t[len(a.r.t)-1])
	var tops []moments
	add := func(t, h float64) {
		m := a.m
		m.apogee, m.apogeeM, m.apogeeSD, m.apogeeMSD = t, h, seenSD, seenMSD
		if !m.told && m.release < t {
			m.release = math.NaN() // seen in a sink that was none
		}
		tops = append(tops, m)
	}
	called := !math.IsNaN(a.m.apogee)
	above := func(h float64) bool {
		return !called || h > a.r.levelAt(a.m.apogee)+refutedM+refutedPart*math.Abs(h)
	}
	if t, h, ok := a.r.roundTop(from, to, a.noise.white); ok && h > leastTopM {
		if math.Abs(t-a.m.apogee) < refutedS {
			if a.m.apogeeSD > vagueSD && math.Abs(t-a.m.apogee) > roundSD {
				a.m.apogee, a.m.apogeeM, a.m.apogeeSD = t, h, roundSD
			}
			return
		}
		if above(h) {
			add(t, h)
			tops[0].apogeeSD = roundSD
			a.m = tops[0]
			return
		}
	}
	t, h, ok := a.r.seenTop(from, to)
	if ok && h > leastTopM && above(h) && !(math.Abs(t-a.m.apogee) < refutedS) && t > from+0.5 && t < to-0.5 {
		add(t, h)
	}
	if len(tops) == 0 {
		return
	}
	if called {
		tops = append(tops, a.m)
	}
	first := to
	for i := range tops {
		first = min(first, tops[i].apogee)
	}
	best, keep := math.Inf(1), a.m
	for i := range tops {
		a.m = tops[i]
		if c := a.topCost(first - 0.5*(first-from)); c < best {
			best, keep = c, tops[i]
		}
	}
	if math.IsInf(best, 1) {
		keep = tops[0]
		if called {
			keep = tops[len(tops)-1]
		}
	}
	a.m = keep
}

// Standard deviations of a top that only the readings show, s and m.
const seenSD, seenMSD = 0.4, 2.0

// leastTopM is a height below which nothing has flown, m.
const leastTopM = 3.0

// topCost is how badly a path with this apogee explains the readings, whatever
// slowed the fall.
func (a *analysis) topCost(start float64) float64 {
	if a.m.told {
		f, err := a.fitBetween(start, math.Inf(1), nil)
		if err != nil {
			return math.Inf(1)
		}
		return f.cost()
	}
	best := math.Inf(1)
	for _, c := range a.scan(a.cells(withAir), start, nil) {
		if c.fit != nil {
			best = min(best, c.fit.cost())
		}
	}
	return best
}

// levelAt is the level of the readings about t.
func (r *readings) levelAt(t float64) float64 {
	lo, hi := r.at(t-seenWindowS/2), r.at(t+seenWindowS/2)
	if hi-lo < 3 {
		lo = max(0, min(lo-1, len(r.h)-3))
		hi = min(len(r.h), lo+3)
	}
	return median(r.h[lo:hi])
}

// slope is that of a straight line through the readings from t0 to t1, in m/s up,
// found by the medians of its outer thirds; NaN where there are too few.
func (r *readings) slope(t0, t1 float64) float64 {
	i, j := r.at(t0), r.at(t1)
	if j-i < 6 {
		if j-i < 3 || r.t[j-1] <= r.t[i] {
			return math.NaN()
		}
		return (r.h[j-1] - r.h[i]) / (r.t[j-1] - r.t[i])
	}
	k := (j - i) / 3
	dt := median(r.t[j-k:j]) - median(r.t[i:i+k])
	if dt <= 0 {
		return math.NaN()
	}
	return (median(r.h[j-k:j]) - median(r.h[i:i+k])) / dt
}

// fastest is the greatest speed that the readings show anywhere from t0 to t1: up if
// up is true, else down; never below 0. It is the slope over supportS: what is
// faster for shorter is a pulse of pressure.
func (r *readings) fastest(t0, t1 float64, up bool) float64 {
	most := 0.0
	for t := t0; t <= t1; t += 0.1 {
		v := r.slope(t-supportS/2, t+supportS/2)
		if !up {
			v = -v
		}
		if v > most { // NaN is not
			most = v
		}
	}
	return most
}

// How far the top of a fit may be from the level of the readings about it: m, and as
// a part of the height.
const standsM, standsPart = 2.0, 0.03

// mostMovedS is how far a fit may move the top that was seen, s.
const mostMovedS = 3.0

// supportS is how long a speed must have lasted for the readings to show it.
const supportS = 0.8

// stands says whether a fit can be believed where it matters: its top is near where
// the readings have theirs, and most of those about it lie on it.
func (a *analysis) stands(f *fit) bool {
	ta, ha := f.path.apex(&f.q)
	if math.IsNaN(ta) || math.IsNaN(ha) || math.Abs(ta-a.m.apogee) > mostMovedS || ta < a.r.t[0]-1 || ta > a.r.t[len(a.r.t)-1]+3 {
		return false
	}
	// After readings that no flight has, a round top is worth more than a path.
	if !math.IsInf(a.clean, -1) && a.m.apogeeSD == roundSD && math.Abs(ta-a.m.apogee) > 2*roundSD {
		return false
	}
	near, off := 0, 0
	for i, t := range f.t {
		if t < f.start || math.Abs(t-ta) > 1.5 {
			continue
		}
		near++
		if f.extra[i] > 1e6 {
			off++
		}
	}
	if off*2 >= near && near > 0 {
		return false
	}
	// Where it is the highest, the readings are too.
	level := a.r.levelAt(ta)
	return math.Abs(level-ha*(1+f.q[pScale])) < standsM+standsPart*math.Abs(level)+4*math.Sqrt(a.noise.white+a.noise.gust)
}

// findTouchdown looks whether the live call of the touchdown is that of the readings:
// whether they go on sinking after it. Their own is where they come to the level at
// which they end; there is none if they end in a sink.
func (a *analysis) findTouchdown() {
	end := a.r.t[len(a.r.t)-1]
	td := a.m.touchdown
	if math.IsNaN(td) && end-a.m.apogee > 3*liesS && math.Abs(a.r.slope(end-liesS, end)) < leastSink/2 {
		td = a.m.apogee // nobody called one, and it lies at the end
	}
	if math.IsNaN(td) || end-td < 2*restS {
		return
	}
	last := a.r.levelAt(end - seenWindowS/2)
	margin := refutedM + 4*math.Sqrt(a.noise.white)
	after := a.r.levelAt(td + restS)
	if after < last+margin {
		return
	}
	at := end
	for t := end - seenWindowS; t > td; t -= seenWindowS / 4 {
		if a.r.levelAt(t) > last+margin/2 {
			at = t + seenWindowS/2
			break
		}
	}
	if v := -a.r.slope(td+restS, at); !(v > leastSink) {
		return // it lies, and its level wanders
	}
	if at > end-restS {
		at = math.NaN()
	}
	a.m.touchdown = at
}

// How long a rocket must have lain for its level to count, s; for how long where nobody
// saw it touch down; and what is no sink, m/s.
const restS, liesS, leastSink = 1.0, 5.0, 1.0

// cleanFrom is from when on the readings before the apogee can be used: after the last
// moment in the climb at which most of half a second scatter as they never do in free
// flight, as those of a bottle that shakes do while it pushes. -Inf if they never do.
func (r *readings) cleanFrom(from, apogee, white float64) float64 {
	limit := roundSDs * math.Sqrt(white+roundVar)
	for t := apogee - 0.4; t > from; t -= 0.1 {
		i, j := r.at(t-0.25), r.at(t+0.25)
		if j-i < 5 {
			continue
		}
		v, _ := line(r.t[i:j], r.h[i:j])
		mid := median(r.h[i:j])
		off := make([]float64, 0, j-i)
		for k := i; k < j; k++ {
			off = append(off, math.Abs(r.h[k]-mid-v*(r.t[k]-t)))
		}
		if 1.4826*median(off) > limit {
			return t + 0.25
		}
	}
	return math.Inf(-1)
}
