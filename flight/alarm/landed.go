package alarm

import (
	"math"

	"padlark/flight"
)

// hung: landed, but well above the ground.
type hung struct {
	gate gate
	mean smoothed
}

func (r *hung) check(v *view) cond {
	if v.phase != flight.Landed || math.IsNaN(v.alt) {
		*r = hung{}
		return off
	}
	if !v.fresh {
		return unsure
	}
	mean := r.mean.add(v.t, v.alt, 1)
	return r.gate.step(v.t, mean > v.limits.HungM, 2, 3)
}

func (r *hung) words(v *view) words {
	return words{
		priority: prioAct,
		say:      v.name() + " hangs above the ground",
		reason: sprintf("%s has come to rest %.0f m above the pad's level: in a tree, on a roof, on a line, or on a slope. If it hangs on a power line, leave it and call the line's owner. Do not climb after it and do not throw things at it.",
			v.name(), r.mean.value),
	}
}

// notAtRest: the flight should be over, and the rocket does not lie still.
type notAtRest struct {
	gate   gate
	slope  float64 // m/s
	spread float64 // m
	late   bool
	over   float64 // s past the expected touchdown
}

func (r *notAtRest) check(v *view) cond {
	switch v.phase {
	case flight.Descent:
		return r.overdue(v)
	case flight.Landed:
		return r.moving(v)
	}
	*r = notAtRest{}
	return off
}

// overdue: still counted as descending long after it should be down.
func (r *notAtRest) overdue(v *view) cond {
	if math.IsNaN(v.apogeeAt) || math.IsNaN(v.apogeeM) {
		return off
	}
	sink := v.parachuteSpeed()
	if math.IsInf(sink, 1) {
		sink = 3
	}
	r.over = v.t - v.apogeeAt - v.apogeeM/sink
	r.late = v.t-v.heard < 3 && r.over > v.limits.RestS+0.5*v.apogeeM/sink && v.alt < math.Max(5, 0.15*v.apogeeM)
	return r.gate.step(v.t, r.late, 1, 1)
}

// moving: down, but the height goes on changing: dragged by the canopy, or
// carried, or floating away.
func (r *notAtRest) moving(v *view) cond {
	p := &v.self.pad
	if !p.whenFilled || p.block < 2 {
		return unsure
	}
	r.late = false
	n := min(p.block, 4)
	lo, hi := p.past[0].v, p.past[0].v
	for _, m := range p.past[1:n] {
		lo, hi = math.Min(lo, m.v), math.Max(hi, m.v)
	}
	r.spread = (hi - lo) / v.perMetre()
	r.slope = r.spread / math.Max(1, p.past[0].t-p.past[n-1].t)
	return r.gate.step(v.t, r.slope > v.limits.RestMps && r.spread > 1.5, 0, 3)
}

func (r *notAtRest) words(v *view) words {
	w := words{priority: prioKnow, say: v.name() + " not at rest"}
	if r.late {
		w.reason = sprintf("%s should have touched down %.0f s ago and is not found at rest: it is near the ground at %s, %s. Look whether it is dragged by its canopy or still in the air.",
			v.name(), r.over, metres(v.alt), motion(v.speed))
		return w
	}
	w.reason = sprintf("%s has landed but its height still changes by %.1f m at %.1f m/s: it is dragged by its canopy, rolls, or somebody carries it. Collapse the canopy when you get there.",
		v.name(), r.spread, r.slope)
	return w
}
