package smooth

import (
	"math"

	"padlark/decode"
	"padlark/flight/track"
)

// What an accelerometer must show before it counts (common practice, no source).
const (
	restEndS    = 0.3 // s before the liftoff, that its call may be late by
	restFewest  = 20  // readings on the pad, that its axis is found from
	restMostErr = 3.0 // m/s2, by which gravity may be misread there
	clipsG      = 2.0 // from so many g on, equal greatest readings are the end of its range
	clipsTimes  = 2
	fewestPulls = 6     // readings in the coast
	leastPull   = 1.5   // m/s2 of drag, without which there is nothing to judge it by
	freeErr     = 2.0   // m/s2, most that it may read where nothing pushes or brakes
	forcePart   = 0.1   // of what it reads in the coast is not drag along the path: it flies askew, and is mounted so
	soundPull   = 150.0 // m/s, from which on a drag is less and less that of the slower parts
	forceBias   = 0.1   // m/s2, sd of what has changed since the pad
	pullSDs     = 2.5
	calmForce   = 0.05 // m/s2, that no accelerometer is better than
)

// axis is how an accelerometer sits in the rocket and what it reads at rest.
type axis struct {
	rest  [3]float64 // m/s2, medians on the pad
	size  float64
	axes  bool
	least [3]float64 // readings at and beyond these are the end of its range
	most  [3]float64
}

// findAxis learns it from the samples before `to`, in the order given. ok is false
// without an accelerometer or where it does not read gravity.
func findAxis(samples []decode.Sample, order []int, rests func(*decode.Sample) bool) (x axis, ok bool) {
	var rest, all [3][]float64
	for _, i := range order {
		a, axes, has := track.Acceleration(&samples[i])
		if !has {
			continue
		}
		x.axes = axes
		for k, v := range a {
			all[k] = append(all[k], v)
			if rests(&samples[i]) {
				rest[k] = append(rest[k], v)
			}
		}
	}
	if len(rest[0]) < restFewest {
		return x, false
	}
	for k := range x.rest {
		x.rest[k] = median(rest[k])
		x.size += sq(x.rest[k])
		x.least[k], x.most[k] = ends(all[k])
	}
	x.size = math.Sqrt(x.size)
	return x, math.Abs(x.size-gravity) < restMostErr
}

// ends are the limits of a sensor's range as its readings show them; infinite where
// they do not.
func ends(v []float64) (least, most float64) {
	least, most = math.Inf(1), math.Inf(-1)
	for _, x := range v {
		least, most = min(least, x), max(most, x)
	}
	low, high := 0, 0
	for _, x := range v {
		if x == least {
			low++
		}
		if x == most {
			high++
		}
	}
	if low < clipsTimes || least > -clipsG*gravity {
		least = math.Inf(-1)
	}
	if high < clipsTimes || most < clipsG*gravity {
		most = math.Inf(1)
	}
	return least, most
}

// restNoise is the noise of the accelerometer before the liftoff, m/s2.
func (r *readings) restNoise(until float64) float64 {
	var off []float64
	for i, f := range r.force {
		if r.t[i] < until-restEndS && !math.IsNaN(f) {
			off = append(off, math.Abs(f-gravity))
		}
	}
	if len(off) == 0 {
		return calmForce
	}
	return max(calmForce, 1.4826*median(off))
}

// along is the force along the rocket in m/s2, 9.81 at rest; clipped if the sensor was
// at the end of its range.
func (x *axis) along(s *decode.Sample) (v float64, clipped bool) {
	a, axes, ok := track.Acceleration(s)
	if !ok || axes != x.axes {
		return math.NaN(), false
	}
	for k := range a {
		v += a[k] * x.rest[k] / x.size
		clipped = clipped || a[k] <= x.least[k] || a[k] >= x.most[k]
	}
	return v - (x.size - gravity), clipped
}

// pull is one reading of the drag in the coast: what an accelerometer reads of what is
// before the opening.
type pull struct {
	i int     // of the reading
	v float64 // m/s2, along the rocket
}

// trust is what is thought of the accelerometer.
type trust int

const (
	unjudged trust = iota // nothing speaks for it or against it
	trusted
	refused
)

// pulls are the readings of the accelerometer that a fit may use: medians of three, so
// that a knock is none; those at the end of the sensor's range only if asked for.
func (a *analysis) pulls(pr *problem, clipped bool) []pull {
	end := min(pr.path.anchor, a.m.apogee) - 0.02
	var out []pull
	k := a.r.at(pr.start)
	for i, t := range pr.t {
		if t < pr.start || t >= end {
			continue
		}
		for k < len(a.r.t) && a.r.t[k] < t {
			k++
		}
		if k < 1 || k+1 >= len(a.r.t) || a.r.t[k] != t {
			continue
		}
		if v := median(a.r.force[k-1 : k+2]); !math.IsNaN(v) && (clipped || !a.r.clipped[k]) {
			out = append(out, pull{i, v})
		}
	}
	return out
}

// drags writes what the accelerometer should read at the pulls, from what heights made
// of the path: minus the drag of the body.
func (pr *problem) drags(q *params, heights, air, out []float64) {
	f := pr.path.flow(q)
	for k, p := range pr.pulls {
		h := heights[p.i]/(1+q[pScale]) - q[pPort]*air[p.i]
		out[k] = -f.body * f.density(h) * air[p.i]
	}
}

// pullVar is the variance of one of the readings of a force that should be `want`, at
// the square `air` of the speed. What is the same in all of them counts as often as
// there are, so that together they know it no better than one.
func (pr *problem) pullVar(want, air float64) float64 {
	part := forcePart * (1 + sq(air/sq(soundPull)))
	return sq(pr.forceSD) + float64(len(pr.pulls))*(sq(part*want)+sq(forceBias))
}

// judgeForce compares the accelerometer with the drag that the barometer alone makes
// likely, the vent being as bad as any. It counts from then on if the two agree; what
// has stuck, has no sign, or reads anything else is left out for good.
func (a *analysis) judgeForce(start, end float64) {
	defer func(sd float64) { a.portSD = sd }(a.portSD)
	a.portSD = badPortSD
	pr := a.problem(start, end, opening{a.m.release, a.m.releaseSD, a.fills, a.m.second})
	pr.pulls, pr.forceSD = a.pulls(&pr, true), 1 // what sticks is at its end too
	n := len(pr.pulls)
	if n < fewestPulls {
		return
	}
	f, err := pr.baro().solve()
	if err != nil {
		return
	}
	heights, air, want := make([]float64, len(pr.t)), make([]float64, len(pr.t)), make([]float64, n)
	pr.path.heights(&f.q, pr.t, pr.start, math.NaN(), heights, air)
	pr.drags(&f.q, heights, air, want)
	both, own, left := 0.0, 0.0, make([]float64, n)
	for k, p := range pr.pulls {
		both += p.v * want[k]
		own += sq(want[k])
		left[k] = math.Abs(p.v - want[k])
	}
	if median(left) > freeErr+2*math.Sqrt(own/float64(n)) {
		a.refuseForce() // whatever its drag, it flies freely
		return
	}
	if want[0] > -leastPull {
		return
	}
	scale := both / own
	for k, p := range pr.pulls {
		left[k] = math.Abs(p.v - scale*want[k])
	}
	first := pr.t[pr.pulls[0].i]
	open := f.sd(func(q *params) float64 {
		fl := pr.path.flow(q)
		return math.Log(fl.body * fl.air2(fl.to(pr.path.anchor, first, anchored(q))))
	})
	scatter := 1.4826 * median(left)
	if !(scale > 0) || math.Abs(math.Log(scale)) > pullSDs*math.Hypot(open, forcePart) ||
		scatter > pullSDs*(forceBias+a.r.forceSD)+2*forcePart*math.Sqrt(own/float64(n)) {
		a.refuseForce()
		return
	}
	a.forceTrust, a.forceSD = trusted, max(scatter, a.r.forceSD)
}

// refuseForce forgets what the accelerometer reads.
func (a *analysis) refuseForce() {
	a.forceTrust = refused
	for i := range a.r.force {
		a.r.force[i] = math.NaN()
	}
}

// baro is the same problem without the accelerometer.
func (pr *problem) baro() *problem {
	p := *pr
	p.pulls = nil
	return &p
}
