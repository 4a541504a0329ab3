package alarm

import (
	"math"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/atmos"
)

// view is what the rules see of one rocket after a sample or a tick. Times are
// in s since the book's first input, on the axis on which frames are heard;
// unknown numbers are NaN. A rule reads it and never writes to it.
type view struct {
	t     float64        // now
	now   time.Time      // the same, as a time
	fresh bool           // a sample was just heard; false on a tick
	s     *decode.Sample // the newest sample when fresh, else nil
	heard float64        // when the newest sample arrived
	first float64        // when the first one did
	prior float64        // when the one before the newest arrived
	anew  float64        // since when the pad is being learnt: first heard, started again, or heard again after a silence

	rocket flight.Rocket
	known  bool // the rocket is configured
	site   flight.Site
	limits Limits
	supply supply

	state
	flown // what events told of the present flight
	book  *Book
	self  *entry
}

// state is flight.State flattened: no pointers to follow, NaN for unknown.
type state struct {
	phase              flight.Phase
	flight             int
	boot               uint32
	link               string
	alt, altSD         float64 // m above the pad
	speed, speedSD     float64 // m/s, up positive
	highest            float64 // m above the pad
	vent, ventSD       float64 // part of the dynamic pressure
	toApogee           float64 // s
	toApogeeSD         float64
	released           bool
	pulse              float64 // us
	armed              float64 // 1, 0 or NaN
	cellV, rssi        float64
	pressure, temp     float64
	leftOut            string // of two barometers
	latitude, longitud float64
	frames, lost       uint64
}

// flown are the moments of the present flight, NaN until they come.
type flown struct {
	liftoffAt, burnoutAt, apogeeAt, releaseAt, touchdownAt float64
	apogeeM, apogeeSD                                      float64 // m; s, of its time
	calledAt                                               float64 // when the apogee was called: it was over
	// climbed is the steepest rise of the tracked height seen so far in this
	// flight, m/s: how fast it flew.
	climbed float64
}

func noFlight() flown {
	n := math.NaN()
	return flown{n, n, n, n, n, n, n, n, 0}
}

func noState() state {
	n := math.NaN()
	return state{phase: flight.Waiting, alt: n, altSD: n, speed: n, speedSD: n, highest: n, vent: n, ventSD: n,
		toApogee: n, toApogeeSD: n, pulse: n, armed: n, cellV: n, rssi: n, pressure: n, temp: n,
		latitude: n, longitud: n}
}

// flatten copies what the tracker knows; st and what it points to stay its own.
func (s *state) flatten(st *flight.State) {
	*s = state{
		phase: st.Phase, flight: st.Flight, boot: st.Boot, link: st.Link,
		alt: value(st.AltitudeM), altSD: value(st.AltitudeSD),
		speed: value(st.SpeedMps), speedSD: value(st.SpeedSD),
		highest: value(st.HighestM), vent: value(st.VentPart), ventSD: value(st.VentSD), toApogee: value(st.ToApogeeS), toApogeeSD: value(st.ToApogeeSD),
		released: st.Released, pulse: value(st.ReleaseUs), armed: math.NaN(),
		cellV: value(st.CellV), rssi: value(st.RSSIDbm),
		pressure: value(st.PressurePa), temp: value(st.TempC), leftOut: st.LeftOut,
		latitude: value(st.Latitude), longitud: value(st.Longitude),
		frames: st.Frames, lost: st.Lost,
	}
	if st.Armed != nil {
		s.armed = 0
		if *st.Armed {
			s.armed = 1
		}
	}
}

func value(p *float64) float64 {
	if p == nil {
		return math.NaN()
	}
	return *p
}

// inFlight says whether the rocket is between liftoff and landing.
func (v *view) inFlight() bool {
	return v.phase == flight.Boost || v.phase == flight.Coast || v.phase == flight.Descent
}

// climbing says whether the rocket is on its way up.
func (v *view) climbing() bool { return v.phase == flight.Boost || v.phase == flight.Coast }

// sink is the downward speed in m/s, NaN if unknown.
func (v *view) sink() float64 { return -v.speed }

// releaseDelay is the longest time in s between apogee and release.
func (v *view) releaseDelay() float64 {
	if v.rocket.ReleaseDelayS > 0 {
		return v.rocket.ReleaseDelayS
	}
	return 1
}

// density of the air at the rocket in kg/m3; sea-level standard if the rocket
// has told no pressure.
func (v *view) density() float64 {
	p, t := v.pressure, 15.0
	if v.site.TemperatureC != nil {
		t = *v.site.TemperatureC
	}
	if math.IsNaN(p) || p <= 0 {
		p = atmos.StandardPressure
	}
	return atmos.Density(p, t+atmos.ZeroC)
}

// bodyTerminal is the body's terminal speed nose down, +Inf if mass, diameter
// or Cd is not given.
func (v *view) bodyTerminal() float64 {
	return atmos.TerminalSpeed(v.rocket.MassKg, v.rocket.DiameterM, v.rocket.Cd, v.density())
}

// parachuteSpeed is the sink rate under the open parachute in m/s; +Inf if
// mass or diameter is not given.
func (v *view) parachuteSpeed() float64 {
	return atmos.TerminalSpeed(v.rocket.MassKg, v.rocket.ParachuteM, v.rocket.CanopyCd(), v.density())
}

// tellsRelease says whether the board tells of its release at all.
func (v *view) tellsRelease() bool {
	return v.rocket.Release != "none" && v.self.tellsRelease
}

// open says whether a pulse is nearer to the servo's open than its rest
// position; false when the positions or the pulse are unknown.
func (v *view) open() bool {
	r := &v.rocket
	if r.ReleaseRestUs <= 0 || r.ReleaseOpenUs <= 0 || math.IsNaN(v.pulse) || v.pulse <= 0 {
		return false
	}
	return math.Abs(v.pulse-r.ReleaseOpenUs) < math.Abs(v.pulse-r.ReleaseRestUs)
}

// name is how the rocket is called in words.
func (v *view) name() string { return v.self.name }

// get reads a channel of the newest sample, NaN if there is none.
func (v *view) get(channel string) float64 {
	if v.s == nil {
		return math.NaN()
	}
	x, ok := v.s.Values.Get(channel)
	if !ok || math.IsInf(x, 0) {
		return math.NaN()
	}
	return x
}
