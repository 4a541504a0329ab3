package alarm

import (
	"math"

	"padlark/flight"
)

// outOfField: the rocket is beyond the field's radius, or its drift will
// carry it there before it touches down.
type outOfField struct {
	lat0, lon0 smoothed // where the rocket's own receiver put the pad
	east, nth  smoothed // position, m from the pad
	vEast, vN  float64  // drift, m/s
	lastE, lsN float64
	lastT      float64
	moving     bool // the drift has been measured once
	gate       gate
	far        float64 // present distance, m
	reach      float64 // expected distance at touchdown, m
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
		r.gate, r.east, r.nth, r.lastT = gate{}, smoothed{}, smoothed{}, 0
		r.vEast, r.vN, r.known, r.moving = 0, 0, false, false
		return off
	}
	if v.fresh {
		r.locate(v)
	}
	r.predict(v)
	out := r.far > v.site.FieldRadiusM || r.reach > foretold*v.site.FieldRadiusM
	return r.gate.step(v.t, out, 0.8, 5)
}

// steadyS is how long after the apogee sink and drift are steady enough to foretell the
// touchdown by, in s.
const steadyS = 4

// foretold is by how much further than the edge a drift must lead: the air is not the
// same all the way down.
const foretold = 1.15

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
	e, n := planeM(lat0, lon0, v.latitude, v.longitud)
	e, n = r.east.add(v.t, e, 0.5), r.nth.add(v.t, n, 0.5)
	r.far = math.Hypot(e, n)
	r.known = true
	if r.lastT == 0 {
		r.lastT, r.lastE, r.lsN = v.t, e, n
	} else if dt := v.t - r.lastT; dt >= 1 {
		part := 0.5
		if !r.moving {
			r.moving, part = true, 1
		}
		r.vEast += ((e-r.lastE)/dt - r.vEast) * part
		r.vN += ((n-r.lsN)/dt - r.vN) * part
		r.lastT, r.lastE, r.lsN = v.t, e, n
	}
}

// predict says where it will come down: the present place plus the drift, or
// without positions the wind times the time in the air.
func (r *outOfField) predict(v *view) {
	r.reach, r.left = r.far, 0
	if v.phase != flight.Descent || math.IsNaN(v.alt) {
		return
	}
	sink := v.parachuteSpeed()
	if math.IsInf(sink, 1) || v.deployed() && v.sink() > 0.5 {
		sink = math.Max(v.sink(), 0.5)
	}
	r.left = math.Max(0, v.alt) / sink
	if r.known {
		if !v.deployed() || v.t-v.apogeeAt < steadyS {
			return // it still flies across: that is no drift
		}
		e, n := r.east.value+r.vEast*r.left, r.nth.value+r.vN*r.left
		r.reach = math.Hypot(e, n)
		return
	}
	// Without positions: once, when the parachute carries and its sink rate is
	// known, and while there is still time to warn anybody.
	if v.deployed() && v.t-v.apogeeAt > steadyS && r.left > 3 {
		r.reach = v.site.WindMps * (r.left + math.Max(0, v.t-v.apogeeAt)) / 1.1
	}
}

func (r *outOfField) words(v *view) words {
	w := words{priority: prioAct, say: v.name() + " leaving the field"}
	switch {
	case r.known && r.far > v.site.FieldRadiusM:
		w.reason = sprintf("%s is %.0f m from the pad; the field ends at %.0f m. Keep it in sight; nobody runs after it across a road or a fence.",
			v.name(), r.far, v.site.FieldRadiusM)
	case r.known:
		w.reason = sprintf("%s drifts at %.1f m/s and will touch down about %.0f m from the pad in %.0f s; the field ends at %.0f m. Warn whoever is there and keep it in sight.",
			v.name(), math.Hypot(r.vEast, r.vN), r.reach, r.left, v.site.FieldRadiusM)
	default:
		w.reason = sprintf("In %.0f m/s of wind %s will drift about %.0f m until it touches down in %.0f s; the field ends at %.0f m. Warn whoever is there and keep it in sight.",
			v.site.WindMps, v.name(), r.reach, r.left, v.site.FieldRadiusM)
	}
	return w
}

// planeM gives east and north in m of a place from another nearby, on the WGS
// 84 sphere of the same mean radius (0.2 % is enough within a field).
func planeM(lat0, lon0, lat, lon float64) (east, north float64) {
	const radius = 6371008.8
	rad := math.Pi / 180
	return (lon - lon0) * rad * radius * math.Cos(lat0*rad), (lat - lat0) * rad * radius
}
