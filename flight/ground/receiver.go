package ground

import (
	"math"

	"padlark/decode"
	"padlark/flight"
)

// Receiver is the station's own: where it is, is the site. It is not safe for use by
// several goroutines; begin with the zero value.
type Receiver struct {
	fixes spot
}

// Take takes a sample of the receiver, and gives the site with the place as far as it
// is known by then: the average of the last fixes, from the third on.
func (r *Receiver) Take(s *decode.Sample, site flight.Site) (flight.Site, bool) {
	lat, lon := FixOf(s)
	p := Place{lat, lon}
	if !isFix(p) {
		return site, false
	}
	r.fixes.add(float64(s.At.UnixNano())/1e9, p)
	return r.Site(site)
}

// Site is a site with the place as far as it is known.
func (r *Receiver) Site(site flight.Site) (flight.Site, bool) {
	if r.fixes.n < padFixes {
		return site, false
	}
	lat, lon := r.fixes.place.LatitudeDeg, r.fixes.place.LongitudeDeg
	site.LatitudeDeg, site.LongitudeDeg = &lat, &lon
	return site, true
}

// SetSite is for a site whose place becomes known later. What has taken off keeps the
// pad that it had.
func (f *Follower) SetSite(s flight.Site) {
	if s.LatitudeDeg == nil || s.LongitudeDeg == nil {
		return
	}
	f.site = Place{*s.LatitudeDeg, *s.LongitudeDeg}
	if !f.began || !inFlight(f.last.Phase) {
		f.pad = f.site
	}
}

// isFix says whether a place is one: boards without a fix send zeros.
func isFix(p Place) bool {
	return !math.IsNaN(p.LatitudeDeg) && !math.IsNaN(p.LongitudeDeg) && p != (Place{}) && math.Abs(p.LatitudeDeg) <= 90 && math.Abs(p.LongitudeDeg) <= 180
}
