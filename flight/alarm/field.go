package alarm

import (
	"math"

	"padlark/flight"
	"padlark/flight/ground"
)

// outOfField: the rocket is beyond the field's radius, or its drift will
// carry it there before it touches down.
type outOfField struct {
	lat0, lon0 smoothed  // where the rocket's own receiver put the pad
	east, nth  smoothed  // position, m from the pad
	from       [2]anchor // where the drift is measured from: the second is the next
	vEast, vN  float64   // drift, m/s
	vSD        float64
	sinkFrom   mark // height when the parachute carried
	gate       gate
	far        float64 // present distance, m
	reach      float64 // expected distance at touchdown, m
	surely     float64 // what of it is beyond doubt, m
	left       float64 // s until touchdown
	known      bool    // positions are known
}

func (r *outOfField) check(v *view) cond {
	if v.site.FieldRadiusM <= 0 {
		return off
	}
	if v.phase == flight.Waiting && v.fresh && !math.IsNaN(v.latitude) && !math.IsNaN(v.longitud) {
		r.lat0.add(v.t, v.latitude, 10)
		r.lon0.add(v.t, v.longitud, 10)
	}
	if !v.inFlight() {
		if v.phase == flight.Landed {
			return r.lying(v)
		}
		*r = outOfField{lat0: r.lat0, lon0: r.lon0}
		return off
	}
	if v.fresh {
		r.locate(v)
	}
	r.predict(v)
	if r.far > v.site.FieldRadiusM {
		return r.gate.step(v.t, true, 0.4, 5)
	}
	return r.gate.step(v.t, r.surely > foretold*v.site.FieldRadiusM, 0.8, 5)
}

// anchor is a place at a time.
type anchor struct{ t, e, n float64 }

// What a drift is foretold by (common practice, no source, but for the mean of a wind
// that grows with the seventh root of the height: 7/8 of that at its top).
const (
	steadyS  = 4.0  // s after the apogee from which sink and drift are steady where nobody tells of positions
	carriedS = 0.2  // s after the parachute had time to open, until what it flew across is spent
	driftS   = 1.0  // s of positions that a drift takes at the least
	forgetS  = 20.0 // s of positions that it is taken from at the most
	placeM   = 2.0  // m, sd of a change between two positions
	below    = 7. / 8
)

// foretold is by how much further than the edge a drift must lead: the air is not the
// same all the way down.
const foretold = 1.05

// lying keeps the alarm for a rocket that lies outside.
func (r *outOfField) lying(v *view) cond {
	if v.fresh {
		r.locate(v)
	}
	r.reach, r.left = r.far, 0
	return r.gate.step(v.t, r.far > v.site.FieldRadiusM, 2, 5)
}

// locate turns the position into metres from the pad, with the drift.
func (r *outOfField) locate(v *view) {
	lat0, lon0 := r.lat0.value, r.lon0.value
	if v.site.LatitudeDeg != nil && v.site.LongitudeDeg != nil {
		lat0, lon0 = *v.site.LatitudeDeg, *v.site.LongitudeDeg
	} else if !r.lat0.started {
		return
	}
	if math.IsNaN(v.latitude) || math.IsNaN(v.longitud) {
		return
	}
	e, n := ground.Plane(ground.Place{LatitudeDeg: lat0, LongitudeDeg: lon0}, ground.Place{LatitudeDeg: v.latitude, LongitudeDeg: v.longitud})
	e, n = r.east.add(v.t, e, 0.5), r.nth.add(v.t, n, 0.5)
	r.far = math.Hypot(e, n)
	r.known = true
	if !(v.sinceOpen() > carriedS) {
		r.from = [2]anchor{{v.t, e, n}, {v.t, e, n}}
		return
	}
	if v.t-r.from[0].t > forgetS {
		r.from = [2]anchor{r.from[1], {v.t, e, n}}
	} else if v.t-r.from[1].t > forgetS/2 {
		r.from[1] = anchor{v.t, e, n}
	}
	if dt := v.t - r.from[0].t; dt >= driftS {
		r.vEast, r.vN, r.vSD = (e-r.from[0].e)/dt, (n-r.from[0].n)/dt, placeM/dt
	}
}

// predict says where it will come down: the present place plus the drift, or
// without positions the wind times the time in the air.
func (r *outOfField) predict(v *view) {
	r.reach, r.surely, r.left = r.far, r.far, 0
	if v.phase != flight.Descent || math.IsNaN(v.alt) {
		return
	}
	sink := v.parachuteSpeed()
	if math.IsInf(sink, 1) || v.deployed() && v.sink() > 0.5 {
		sink = math.Max(v.sink(), 0.5)
	}
	if v.deployed() {
		if r.sinkFrom.t == 0 {
			r.sinkFrom = mark{v.t, v.alt}
		}
		// On average: it swings, and the air rises and sinks.
		if since := v.t - r.sinkFrom.t; since > driftS && r.sinkFrom.v > v.alt {
			sink = (r.sinkFrom.v - v.alt) / since
		}
	}
	r.left = math.Max(0, v.alt) / sink
	if r.known {
		if r.vSD == 0 {
			return // it still flies across: that is no drift
		}
		e, n := r.east.value+r.vEast*below*r.left, r.nth.value+r.vN*below*r.left
		r.reach = math.Hypot(e, n)
		r.surely = r.reach - 1.5*r.vSD*r.left
		return
	}
	// Without positions: once, when the parachute carries and its sink rate is
	// known, and while there is still time to warn anybody.
	if v.deployed() && v.t-v.apogeeAt > steadyS && r.left > 3 {
		r.reach = v.site.WindMps * (r.left + math.Max(0, v.t-v.apogeeAt)) / 1.1
		r.surely = r.reach
	}
}

func (r *outOfField) words(v *view) words {
	edge, reach, left := metres("edge", v.site.FieldRadiusM, 0), metres("reach", r.reach, 0), seconds("left", r.left, 0)
	reason := v.tell("out-of-field.wind", mps("wind", v.site.WindMps, 0), reach, left, edge)
	switch {
	case r.known && r.far > v.site.FieldRadiusM:
		reason = v.tell("out-of-field.beyond", metres("far", r.far, 0), edge)
	case r.known:
		reason = v.tell("out-of-field.drift", mps("speed", math.Hypot(r.vEast, r.vN), 1), reach, left, edge)
	}
	return words{prioAct, v.tell("out-of-field.say"), reason}
}
