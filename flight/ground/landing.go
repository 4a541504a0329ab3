package ground

import (
	"math"

	"padlark/flight"
)

// windField is the wind by the site: measured at 2 m, it grows with height to the
// power of one seventh (common practice for open ground, no source).
type windField struct {
	east, north float64 // m/s, where it blows to, at 2 m
	known       bool
}

const (
	windHeightM = 2.0
	windShear   = 1.0 / 7
)

func windOf(s flight.Site) windField {
	if s.WindMps <= 0 || s.WindFromDeg == nil {
		return windField{}
	}
	sin, cos := math.Sincos(*s.WindFromDeg * rad)
	return windField{-s.WindMps * sin, -s.WindMps * cos, true}
}

// at is the wind at a height above the ground in m.
func (w windField) at(heightM float64) (east, north float64) {
	k := math.Pow(math.Max(heightM, windHeightM)/windHeightM, windShear)
	return w.east * k, w.north * k
}

// below is the mean wind from a height down to the ground.
func (w windField) below(heightM float64) (east, north float64) {
	h := math.Max(heightM, windHeightM)
	// The integral of at over the height, divided by it.
	k := (windHeightM + (h*math.Pow(h/windHeightM, windShear)-windHeightM)/(1+windShear)) / h
	return w.east * k, w.north * k
}

// keepFixes is how many fixes of a descent the drift is fitted to.
const keepFixes = 24

// fixEvery is how close together they are taken, in s: a receiver's error does not
// change within less, so more of them would not tell more.
const fixEvery = 0.5

// path is the newest stretch of a descent over the ground.
type path struct {
	t, east, north [keepFixes]float64
	n              int // how many have been taken; the newest are kept
}

func (p *path) add(t, east, north float64) {
	if p.n > 0 && t-p.t[(p.n-1)%keepFixes] < fixEvery {
		return
	}
	i := p.n % keepFixes
	p.t[i], p.east[i], p.north[i] = t, east, north
	p.n++
}

// span is how much time the kept fixes cover, in s; 0 for less than three.
func (p *path) span() float64 {
	if p.n < 3 {
		return 0
	}
	return p.t[(p.n-1)%keepFixes] - p.t[max(p.n-keepFixes, 0)%keepFixes]
}

// drift is a speed over ground in m/s, with its standard deviation in each
// direction.
type drift struct{ east, north, sd float64 }

// drift fits a line to the kept fixes. They scatter less than they err, as the
// error changes slowly; what they scatter makes the standard deviation.
func (p *path) drift() drift {
	k := min(p.n, keepFixes)
	var mt, me, mn float64
	for i := range k {
		mt, me, mn = mt+p.t[i], me+p.east[i], mn+p.north[i]
	}
	f := float64(k)
	mt, me, mn = mt/f, me/f, mn/f
	var tt, te, tn, ee float64
	for i := range k {
		t, e, n := p.t[i]-mt, p.east[i]-me, p.north[i]-mn
		tt, te, tn, ee = tt+t*t, te+t*e, tn+t*n, ee+e*e+n*n
	}
	d := drift{east: te / tt, north: tn / tt}
	// Two directions, two numbers fitted to each.
	scatter := math.Max(ee-d.east*te-d.north*tn, 0) / math.Max(2*(f-2), 1)
	d.sd = math.Sqrt(math.Max(scatter, leastScatter*leastScatter) / tt)
	return d
}

// leastScatter is what two fixes of a receiver differ by at least, in m: what a
// receiver prints has that step (0.0001 minutes).
const leastScatter = 0.2

// foretell works out where the rocket will come down or has.
func (f *Follower) foretell() {
	m := f.last
	switch {
	case m.Phase == flight.Landed:
		if f.landed.n > 0 && !math.IsNaN(f.pad.LatitudeDeg) {
			e, n := Plane(f.pad, f.landed.place)
			f.lands(e, n, 0, gpsSD, gpsSD, flight.FromGPS)
		}
	case m.Phase == flight.Descent && m.T-f.topAt >= settleS:
		f.predict()
	}
}

// predict is the landing seen from the air.
func (f *Follower) predict() {
	m, p := f.last, &f.position
	sink := f.sink
	if !(sink > leastSink) {
		sink = f.parachute
	}
	if !(sink > 0) || math.IsNaN(m.HeightM) || !f.known {
		return
	}
	left := math.Max(m.HeightM, 0) / sink
	leftSD := math.Hypot(left*sinkPart, number(m.HeightSD)/sink)
	var vE, vN, vSD, along, across float64
	source := flight.FromWind
	switch {
	case p.Source == flight.FromGPS && f.path.span() >= driftS:
		d := f.path.drift()
		vE, vN, vSD, along, across, source = d.east, d.north, d.sd, alongPart, acrossPart, flight.FromGPS
	case f.wind.known:
		vE, vN = f.wind.below(m.HeightM)
		along, across = windAlong, windAcross
	default:
		return
	}
	speed := math.Hypot(vE, vN)
	f.lands(p.EastM+vE*left, p.NorthM+vN*left, bearing(vE, vN),
		math.Sqrt(sq(p.SDM)+sq(speed*leftSD)+sq(left*vSD)+sq(left*along*speed)),
		math.Sqrt(sq(p.SDM)+sq(left*vSD)+sq(left*across*speed)), source)
}

// lands keeps a landing with the standard deviations along a direction and across.
func (f *Follower) lands(east, north, angle, alongSD, acrossSD float64, source string) {
	l := &f.landing
	*l = flight.Landing{EastM: east, NorthM: north, RangeM: math.Hypot(east, north), BearingDeg: bearing(east, north),
		AlongM: ellipse95 * alongSD, AcrossM: ellipse95 * acrossSD, AngleDeg: angle, Source: source}
	l.LatitudeDeg, l.LongitudeDeg = f.onEarth(east, north, &f.numbers.landLat, &f.numbers.landLon)
	f.foretold = true
}

func sq(x float64) float64 { return x * x }

// number is x, or 0 where it is not known.
func number(x float64) float64 {
	if math.IsNaN(x) {
		return 0
	}
	return x
}
