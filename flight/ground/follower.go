package ground

import (
	"math"

	"padlark/flight"
	"padlark/flight/atmos"
)

const (
	// gpsSD is the standard deviation of a fix in each direction, in m: 8 m hold
	// 95 of 100 (GPS SPS Performance Standard, 5th edition, 2020; from memory).
	gpsSD = 8 / ellipse95
	// ellipse95 times the standard deviations are the half axes of the ellipse
	// that holds 95 of 100 (chi square, two degrees of freedom).
	ellipse95 = 2.4477468306808161

	padFixes  = 3    // fixes that make a pad
	padOverS  = 15.0 // s over which they are averaged
	movedM    = 20.0 // m beyond which a rocket on the ground was carried
	leapMps   = 400  // no rocket of this kind is faster over ground
	leapM     = 50   // and no receiver worse from one fix to the next
	mostLeaps = 3    // so many fixes in a row that disagree with the one before are believed
	landFixes = 60   // fixes that a landing spot is averaged over
	staleS    = 2.0  // s after which a fix is carried on by the drift
	settleS   = 2.0  // s after the top before a path tells of the drift
	driftS    = 2.0  // s of fixes that a drift needs
	sinkOverS = 2.0  // s over which the sink rate is averaged
	leastSink = 0.5  // m/s
	setBackS  = 2.0  // s
	heldS     = 1.0  // s
)

// What a forecast is uncertain by (common practice, no source): of the sink rate
// and of the drift along and across it, since the air differs all the way down;
// of the site's wind, by its strength and by 20 degrees; and of the climb without
// positions, by a part of its height.
const (
	sinkPart   = 0.10
	alongPart  = 0.20
	acrossPart = 0.15
	windAlong  = 0.30
	windAcross = 0.35
	climbPart  = 0.15
)

// Moment is what a sample tells, and what is known of the flight then. Unknown
// numbers are NaN.
type Moment struct {
	T                         float64 // s
	LatitudeDeg, LongitudeDeg float64 // a valid fix
	Phase                     flight.Phase
	Released                  bool
	HeightM                   float64 // above the pad
	HeightSD                  float64
	SinkMps                   float64 // down positive
}

// Follower follows the place of one rocket through its flights. It is not safe for
// use by several goroutines. Begin with New.
type Follower struct {
	site      Place // NaN if not given
	wind      windField
	parachute float64 // sink rate by the parachute's size, m/s; NaN if not known

	began    bool
	last     Moment // the newest
	fix      fix    // the newest valid fix
	leaps    int
	rest     spot // where it lies, or lay before the liftoff
	pad      Place
	padOwn   bool // by its own receiver
	topAt    float64
	sink     float64
	path     path    // of the descent
	carriedE float64 // by the wind since the top, m
	carriedN float64
	highest  float64
	landed   spot

	position flight.Position
	landing  flight.Landing
	numbers  struct{ elevation, lat, lon, landLat, landLon float64 }
	known    bool // position
	foretold bool // landing
}

type fix struct {
	t     float64
	place Place
	known bool
}

// spot is the average of fixes about one place.
type spot struct {
	place Place
	n     int
	t     float64
}

// New makes a follower for a rocket at a site.
func New(r flight.Rocket, s flight.Site) *Follower {
	nan := math.NaN()
	f := &Follower{site: Place{nan, nan}, wind: windOf(s), parachute: parachuteSink(r), topAt: nan, sink: nan}
	if s.LatitudeDeg != nil && s.LongitudeDeg != nil {
		f.site = Place{*s.LatitudeDeg, *s.LongitudeDeg}
	}
	f.pad = f.site
	return f
}

// Reconfigure gives the follower another rocket's or site's data; what it has heard
// stays.
func (f *Follower) Reconfigure(r flight.Rocket, s flight.Site) {
	n := New(r, s)
	if !f.padOwn {
		f.pad = n.pad
	}
	f.site, f.wind, f.parachute = n.site, n.wind, n.parachute
}

// parachuteSink is the sink rate under the open parachute at sea level in m/s, NaN
// if mass or diameter is not given.
func parachuteSink(r flight.Rocket) float64 {
	if r.MassKg <= 0 || r.ParachuteM <= 0 {
		return math.NaN()
	}
	return atmos.TerminalSpeed(r.MassKg, r.ParachuteM, r.CanopyCd(), atmos.StandardDensity)
}

// Step takes the next moment.
func (f *Follower) Step(m Moment) {
	switch {
	case !f.began || m.T >= f.last.T:
	case m.T > f.last.T-setBackS:
		m.T = f.last.T // out of order by a little
	default:
		f.path.n, f.fix.known = 0, false // the time scale was set back
	}
	was, before := f.last, f.began
	f.last, f.began = m, true
	flying := inFlight(m.Phase)
	switch {
	case flying && !(before && inFlight(was.Phase)):
		f.begin()
	case m.Phase == flight.Landed && before && inFlight(was.Phase):
		f.landed = spot{}
	}
	if m.Phase == flight.Descent {
		f.falls(was, before)
	}
	fresh := f.takeFix(m)
	switch {
	case fresh && flying && m.Phase == flight.Descent && m.T-f.topAt >= settleS:
		e, n := Plane(f.pad, f.fix.place)
		f.path.add(m.T, e, n)
	case fresh && m.Phase == flight.Landed:
		f.lies(m.T)
	case fresh && !flying:
		f.rests(m.T)
	}
	if m.Phase == flight.Waiting {
		f.foretold = false
	}
	f.locate()
	f.foretell()
}

// Position is where the rocket is, nil if that is not known. It belongs to the
// follower and is valid until the next Step.
func (f *Follower) Position() *flight.Position {
	if !f.known {
		return nil
	}
	return &f.position
}

// Landing is where it came or will come down, nil if that is not known; as
// Position.
func (f *Follower) Landing() *flight.Landing {
	if !f.foretold {
		return nil
	}
	return &f.landing
}

func inFlight(p flight.Phase) bool {
	return p == flight.Boost || p == flight.Coast || p == flight.Descent
}

// begin is the liftoff: the pad is where the rocket lay.
func (f *Follower) begin() {
	f.padOwn = f.rest.n >= padFixes
	f.pad = f.site
	if f.padOwn {
		f.pad = f.rest.place
	}
	f.rest, f.landed = spot{}, spot{}
	f.topAt, f.sink, f.path = math.NaN(), math.NaN(), path{}
	f.carriedE, f.carriedN, f.highest = 0, 0, 0
	f.foretold = false
}

// falls follows the descent: sink rate, and what the wind has carried it.
func (f *Follower) falls(was Moment, before bool) {
	m := f.last
	if math.IsNaN(f.topAt) {
		f.topAt = m.T
	}
	if before && m.Released && !was.Released {
		f.sink = math.NaN()
		f.path.n = 0
	}
	dt := m.T - was.T
	if !before || !(dt > 0) {
		dt = 0
	}
	switch {
	case math.IsNaN(m.SinkMps):
	case math.IsNaN(f.sink):
		f.sink = m.SinkMps
	default:
		f.sink += (m.SinkMps - f.sink) * (1 - math.Exp(-dt/sinkOverS))
	}
	if f.wind.known && !math.IsNaN(m.HeightM) {
		f.highest = math.Max(f.highest, m.HeightM)
		e, n := f.wind.at(m.HeightM)
		f.carriedE, f.carriedN = f.carriedE+e*dt, f.carriedN+n*dt
	}
}

// takeFix says whether the moment brought a new fix. One that only repeats the
// last is none: boards send the last position again until there is another. On the
// ground it may be that of a receiver that holds still.
func (f *Follower) takeFix(m Moment) bool {
	p := Place{m.LatitudeDeg, m.LongitudeDeg}
	if !isFix(p) {
		return false
	}
	if f.fix.known && p == f.fix.place {
		if inFlight(m.Phase) || m.T-f.fix.t < heldS {
			return false
		}
		f.fix.t = m.T // it lies still
		return true
	}
	if f.fix.known && f.leaps < mostLeaps {
		if d, _ := inverse(f.fix.place, p); !(d <= leapM+leapMps*(m.T-f.fix.t)) {
			f.leaps++
			return false
		}
	}
	f.leaps = 0
	f.fix = fix{m.T, p, true}
	return true
}

// rests averages where the rocket lies before a flight.
func (f *Follower) rests(t float64) {
	f.rest.add(t, f.fix.place)
	f.pad = f.site
	if math.IsNaN(f.pad.LatitudeDeg) {
		f.pad = f.rest.place
	}
}

func (s *spot) add(t float64, p Place) {
	if s.n > 0 {
		if d, _ := inverse(s.place, p); !(d < movedM) {
			s.n = 0
		}
	}
	part := 1 / float64(s.n+1)
	if s.n > 0 {
		part = math.Max(part, 1-math.Exp(-(t-s.t)/padOverS))
	}
	s.place.LatitudeDeg += (p.LatitudeDeg - s.place.LatitudeDeg) * part
	s.place.LongitudeDeg += math.Remainder(p.LongitudeDeg-s.place.LongitudeDeg, 360) * part
	s.n, s.t = s.n+1, t
}

// lies averages where it lies after the landing, until somebody takes it away. The
// same fixes make the pad of the next flight, if it flies from there.
func (f *Follower) lies(t float64) {
	f.rest.add(t, f.fix.place)
	s := &f.landed
	if s.n >= landFixes {
		return
	}
	if s.n > 0 {
		if d, _ := inverse(s.place, f.fix.place); !(d < movedM) {
			s.n = landFixes
			return
		}
	}
	s.n++
	s.place.LatitudeDeg += (f.fix.place.LatitudeDeg - s.place.LatitudeDeg) / float64(s.n)
	s.place.LongitudeDeg += math.Remainder(f.fix.place.LongitudeDeg-s.place.LongitudeDeg, 360) / float64(s.n)
}

// locate works the position out.
func (f *Follower) locate() {
	m, p := f.last, &f.position
	f.known = false
	sd := gpsSD
	switch {
	case f.fix.known && !math.IsNaN(f.pad.LatitudeDeg):
		p.EastM, p.NorthM = Plane(f.pad, f.fix.place)
		if age := m.T - f.fix.t; age > staleS && f.path.span() >= driftS {
			d := f.path.drift()
			p.EastM, p.NorthM = p.EastM+d.east*age, p.NorthM+d.north*age
			sd = math.Hypot(sd, age*math.Hypot(d.sd, alongPart*math.Hypot(d.east, d.north)))
		}
		p.Source = flight.FromGPS
	case m.Phase == flight.Descent && f.wind.known:
		p.EastM, p.NorthM = f.carriedE, f.carriedN
		sd = math.Hypot(climbPart*f.highest, windAcross*math.Hypot(p.EastM, p.NorthM))
		p.Source = flight.FromWind
	default:
		return
	}
	f.known = true
	p.SDM = sd
	p.RangeM, p.BearingDeg = math.Hypot(p.EastM, p.NorthM), bearing(p.EastM, p.NorthM)
	p.LatitudeDeg, p.LongitudeDeg = f.onEarth(p.EastM, p.NorthM, &f.numbers.lat, &f.numbers.lon)
	p.ElevationDeg = nil
	if inFlight(m.Phase) && !math.IsNaN(m.HeightM) {
		f.numbers.elevation = math.Atan2(m.HeightM, p.RangeM) / rad
		p.ElevationDeg = &f.numbers.elevation
	}
}

// onEarth is a place in m from the pad, kept in two numbers; nil if the pad has
// none.
func (f *Follower) onEarth(eastM, northM float64, lat, lon *float64) (latitude, longitude *float64) {
	if math.IsNaN(f.pad.LatitudeDeg) {
		return nil, nil
	}
	at := ofPlane(f.pad, eastM, northM)
	*lat, *lon = at.LatitudeDeg, at.LongitudeDeg
	return lat, lon
}
