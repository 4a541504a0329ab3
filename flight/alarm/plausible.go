package alarm

import (
	"math"
	"sort"

	"padlark/flight"
	"padlark/flight/atmos"
)

// implausible: the pressure on the pad is not one that the site can have.
type implausible struct {
	gate gate
	want float64
	by   float64
}

func (r *implausible) check(v *view) cond {
	p := &v.self.pad
	if v.phase != flight.Waiting {
		r.gate = gate{}
		return off
	}
	if !p.whenFilled {
		return unsure
	}
	switch {
	case v.site.PressurePa != nil:
		r.want, r.by = *v.site.PressurePa, v.limits.SitePressurePa
	case v.site.ElevationM != nil:
		r.want, r.by = atmos.At(*v.site.ElevationM).Pressure, v.limits.WeatherPa
	default:
		// No place on Earth where people fly lies outside of this: 1084 hPa is
		// the highest ever seen at sea level (from memory), 550 hPa is 5 km.
		r.want, r.by = 82500, 27500
	}
	return r.gate.step(v.t, math.Abs(p.mean-r.want) > r.by, 1, 3)
}

func (r *implausible) words(v *view) words {
	p := &v.self.pad
	d := p.mean - r.want
	how := sprintf("the standard atmosphere has %.0f hPa at the site's elevation", r.want/100)
	switch {
	case v.site.PressurePa != nil:
		how = sprintf("the site's measured pressure is %.0f hPa", r.want/100)
	case v.site.ElevationM == nil:
		how = "no place where people fly has that"
	}
	return words{
		priority: prioAct,
		say:      v.name() + " pressure not plausible",
		reason: sprintf("%s reads %.0f hPa on the pad; %s: %.0f m of height apart. Check the unit and the calibration in the layout, the site's elevation, and whether the sensor's hole is free.",
			v.name(), p.mean/100, how, math.Abs(d)/v.perMetre()),
	}
}

// oddOneOut: the pressure differs from that of the other rockets on the pad.
type oddOneOut struct {
	gate   gate
	others float64 // their median, Pa
	n      int
	one    string
}

func (r *oddOneOut) check(v *view) cond {
	p := &v.self.pad
	if v.phase != flight.Waiting {
		r.gate = gate{}
		return off
	}
	if !p.whenFilled {
		return unsure
	}
	var vals [16]float64
	got := vals[:0]
	for _, e := range v.book.order {
		if e == v.self || len(got) == cap(got) || !e.view.known && v.book.known > 0 {
			continue // a stranger's board says nothing about ours
		}
		o := &e.pad
		if o.block > 0 && o.phase == flight.Waiting && v.t-e.view.heard < 5 {
			got = append(got, o.mean)
			r.one = e.name
		}
	}
	r.n = len(got)
	if r.n == 0 {
		return r.gate.step(v.t, false, 1, 0)
	}
	sort.Float64s(got)
	r.others = got[r.n/2]
	apart := math.Abs(p.mean - r.others)
	// Of two that disagree, the one that the site's pressure speaks for is left
	// in peace.
	if r.n == 1 && v.site.PressurePa != nil && math.Abs(p.mean-*v.site.PressurePa) < math.Abs(r.others-*v.site.PressurePa) {
		apart = 0
	}
	return r.gate.step(v.t, apart > v.limits.OthersPa, 1, 3)
}

func (r *oddOneOut) words(v *view) words {
	p := &v.self.pad
	who, hint := sprintf("%d other rockets on the pad read %.0f hPa", r.n, r.others/100), "Check its layout and calibration, and whether its sensor's hole is free."
	if r.n == 1 {
		who = sprintf("%s reads %.0f hPa", r.one, r.others/100)
		hint = "One of the two is wrong: measure the pressure or set the site's elevation to know which."
	}
	return words{
		priority: prioAct,
		say:      v.name() + " pressure unlike the others",
		reason: sprintf("%s reads %.0f hPa, but %s: %.0f m of height apart. %s",
			v.name(), p.mean/100, who, math.Abs(p.mean-r.others)/v.perMetre(), hint),
	}
}
