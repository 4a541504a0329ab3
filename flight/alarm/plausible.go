package alarm

import (
	"math"
	"sort"

	"padlark/flight"
	"padlark/flight/atmos"
	"padlark/flight/phrase"
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
	how := "implausible-pressure.standard"
	switch {
	case v.site.PressurePa != nil:
		how = "implausible-pressure.measured"
	case v.site.ElevationM == nil:
		how = "implausible-pressure.nowhere"
	}
	return words{prioAct, v.tell("implausible-pressure.say"), v.tell("implausible-pressure", hPa("pressure", p.mean),
		phrase.In("how", phrase.Of(how, hPa("want", r.want))), metres("apart", math.Abs(p.mean-r.want)/v.perMetre(), 0))}
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
	who, hint := phrase.Of("odd-one-out.many", count("count", r.n), hPa("pressure", r.others)), "odd-one-out.check"
	if r.n == 1 {
		who, hint = phrase.Of("odd-one-out.one", phrase.Word("other", r.one), hPa("pressure", r.others)), "odd-one-out.which"
	}
	return words{prioAct, v.tell("odd-one-out.say"), v.tell("odd-one-out", hPa("pressure", p.mean), phrase.In("who", who),
		metres("apart", math.Abs(p.mean-r.others)/v.perMetre(), 0), phrase.In("hint", phrase.Of(hint)))}
}
