package alarm

import (
	"math"

	"padlark/flight"
)

// hung: landed, but well above the ground.
type hung struct {
	gate   gate
	height float64 // m above the pad
}

func (r *hung) check(v *view) cond {
	if v.phase != flight.Landed {
		*r = hung{}
		return off
	}
	p := &v.self.pad
	if !p.whenFilled || p.padLevel == 0 {
		return unsure
	}
	// From the raw pressure: the tracker begins at zero again where it lies.
	r.height = (p.padLevel - p.mean) / v.perMetre()
	still := p.block >= 2 && math.Abs(p.past[0].v-p.past[1].v) < 2*v.perMetre()
	return r.gate.step(v.t, r.height > v.limits.HungM && (still || r.gate.state), 2, 3)
}

func (r *hung) words(v *view) words {
	return words{prioAct, v.tell("hung.say"), v.tell("hung", metres("height", r.height, 0))}
}

// notAtRest: the flight should be over, and the rocket does not lie still.
type notAtRest struct {
	gate   gate
	down   bool
	downAt float64
	calm   float64 // m rms, what the wind alone may make
	levels [8]mark // medians of the pressure, newest first, Pa
	n      int
	wander float64 // of its height since, m rms
	late   bool
	over   float64 // s past the expected touchdown
}

func (r *notAtRest) check(v *view) cond {
	if v.phase == flight.Landed && !r.down {
		r.down, r.downAt, r.n = true, v.t, 0
		r.calm = 0
		if v.altSD < 2 { // gusts that it stood in before it flew
			r.calm = gustsOver * v.altSD
		}
	}
	// Who has switched the board on again has it in hand: that flight is over.
	if r.down && v.anew > r.downAt {
		r.down, r.n = false, 0
	}
	// A canopy that drags the rocket about may look like a small flight. Only
	// a real one ends the stay on the ground.
	if r.down && v.inFlight() && (v.alt > hopM || v.alt > hopM/5 && v.t-r.downAt > readyS) {
		r.down = false
	}
	if p := &v.self.pad; p.whenFilled && v.fresh {
		copy(r.levels[1:], r.levels[:len(r.levels)-1])
		r.levels[0] = mark{v.t, p.mean}
		r.n = min(r.n+1, len(r.levels))
	}
	switch {
	case r.down:
		return r.moving(v)
	case v.phase == flight.Descent:
		return r.overdue(v)
	}
	r.n = 0
	return r.gate.step(v.t, false, 0, 0)
}

// A rocket that has landed flies again above hopM, m, or when it has lain for
// readyS, s, which nobody needs less to make it ready, above a fifth of that.
const (
	hopM   = 25
	readyS = 90
)

// gustsOver is by how much the medians of a windy ground may wander over their usual
// standard deviation.
const gustsOver = 3.0

// limit is how much the height may wander, in m rms.
func (r *notAtRest) limit(v *view) float64 { return math.Max(v.limits.RestM, r.calm) }

// overdue: still counted as descending long after it should be down, near the
// ground and not sinking any more.
func (r *notAtRest) overdue(v *view) cond {
	if math.IsNaN(v.apogeeAt) || math.IsNaN(v.apogeeM) {
		return off
	}
	if !v.fresh || !v.self.pad.whenFilled || r.n < 4 {
		return unsure
	}
	sink := v.parachuteSpeed()
	if math.IsInf(sink, 1) {
		sink = 3
	}
	r.over = v.t - v.apogeeAt - v.apogeeM/sink
	old := r.levels[r.n-1]
	slope := (r.levels[0].v - old.v) / v.perMetre() / (r.levels[0].t - old.t)
	low := v.alt < math.Max(8, 0.15*v.apogeeM)
	r.late = low && slope < 0.5 && r.over > v.limits.RestS
	return r.gate.step(v.t, r.late, 2, 2)
}

// moving: down, but the height goes on wandering: dragged by the canopy, or
// carried, or floating away.
func (r *notAtRest) moving(v *view) cond {
	if !v.fresh || !v.self.pad.whenFilled || r.n < 4 || v.t-r.downAt < v.limits.RestS {
		return unsure
	}
	r.late = false
	var sum, sum2 float64
	for _, x := range r.levels[:r.n] {
		d := (x.v - r.levels[0].v) / v.perMetre()
		sum, sum2 = sum+d, sum2+d*d
	}
	n := float64(r.n)
	r.wander = math.Sqrt(math.Max(0, sum2-sum*sum/n) / (n - 1))
	limit := r.limit(v)
	if r.gate.state {
		limit *= 0.7
	}
	return r.gate.step(v.t, r.wander > limit, 0, 3)
}

func (r *notAtRest) words(v *view) words {
	reason := v.tell("not-at-rest", metres("wander", r.wander, 1), metres("limit", r.limit(v), 1))
	if r.late {
		reason = v.tell("not-at-rest.late", seconds("over", r.over, 0), heightAt(v.alt), motion(v.speed))
	}
	return words{prioKnow, v.tell("not-at-rest.say"), reason}
}
