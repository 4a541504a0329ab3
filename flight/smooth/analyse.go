package smooth

import (
	"errors"
	"fmt"
	"math"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/atmos"
	"padlark/flight/track"
)

// Config is what the smoother needs to know. All of Rocket and Site is
// optional.
type Config struct {
	Session string
	Rocket  flight.Rocket
	Site    flight.Site
}

// ErrNoFlight is returned by Analyse when the samples hold no flight.
var ErrNoFlight = errors.New("no flight in the samples")

// Analyse works one flight out from its samples, in the order in which they
// were heard, some seconds of pad and rest included. Events are
// those that the live tracker made of the flight; without any the tracker is
// run here. Alarms are listed in the result. It keeps nothing of what it is
// given.
//
// The standard deviations in the result are honest totals: what the readings
// leave open and what is systematic, the temperature of the site above all.
// Series.ApogeeParts tells them apart.
func Analyse(cfg Config, samples []decode.Sample, events []flight.Event, alarms []flight.Alarm) (flight.Result, Series, error) {
	if len(samples) == 0 {
		return flight.Result{}, Series{}, fmt.Errorf("analyse flight: %w: there are none", ErrNoFlight)
	}
	if len(events) == 0 {
		events = firstFlight(replay(cfg, samples))
	}
	return analyse(cfg, samples, events, alarms, 0)
}

// analyse is Analyse with the standard deviation in K with which the temperature of the
// site is known; 0 for the usual.
func analyse(cfg Config, samples []decode.Sample, events []flight.Event, alarms []flight.Alarm, airSD float64) (flight.Result, Series, error) {
	a := analysis{cfg: cfg, events: events, airSD: airSD, portSD: portSD, bumpSeen: bumpUsual, nose: math.NaN(), clean: math.Inf(-1)}
	a.begin(samples, alarms)
	r, ok := read(cfg, samples, a.liftoffGuess(samples))
	if !ok {
		return a.out, Series{}, fmt.Errorf("analyse flight of %s: %w: fewer than %d readings of pressure or altitude", a.out.Rocket, ErrNoFlight, minReadings)
	}
	a.r = &r
	if r.fixes {
		a.lateSD = track.ReceiverS
	}
	a.locate()
	if math.IsNaN(a.m.liftoff) && math.IsNaN(a.m.apogee) && math.IsNaN(a.m.touchdown) {
		return a.out, Series{}, fmt.Errorf("analyse flight of %s: %w: nothing left the ground", a.out.Rocket, ErrNoFlight)
	}
	a.r.findPulses(orElse(a.m.liftoff, r.t[0]), orElse(a.m.touchdown, r.t[len(r.t)-1]))
	a.noise = learnNoise(&r, orElse(a.m.liftoff, r.t[0]), orElse(a.m.touchdown, r.t[len(r.t)-1]))
	a.findTouchdown()
	a.findShock(samples)
	a.fitAll()
	if airSD == 0 {
		if kelvin, sd, ok := a.airByReceiver(samples); ok {
			told := kelvin - atmos.ZeroC
			cfg.Site.TemperatureC = &told
			return analyse(cfg, samples, events, alarms, sd)
		}
	}
	a.fillResult()
	return a.out, a.series(), nil
}

func orElse(v, other float64) float64 {
	if math.IsNaN(v) {
		return other
	}
	return v
}

// replay runs the live tracker over the samples.
func replay(cfg Config, samples []decode.Sample) []flight.Event {
	t := track.New(track.Config(cfg))
	var all []flight.Event
	for i := range samples {
		all = append(all, t.Sample(&samples[i])...)
	}
	return all
}

// analysis is one flight being worked out.
type analysis struct {
	cfg     Config
	events  []flight.Event
	r       *readings
	noise   noise
	m       moments
	fit     *fit // top and descent
	coast   *fit // from burnout to the release
	burn    burn
	fills   filling // how the parachute filled, as far as the readings tell
	belief  belief  // in the release, where nobody told it
	out     flight.Result
	parts   Parts
	clean   float64 // s, from when on the readings of the climb can be used
	portSD  float64 // of the vent's error, m per (m/s)2
	sinkSD  float64
	eventSD float64 // s, of the live event's apogee, where no path fits
	live    call

	bumpSeen   float64 // m2, variance of the pulse at the release
	nose       float64 // s, when a pulse began that tells of a release nobody told; NaN for none
	push       push    // the thrust, as an accelerometer read it
	airSD      float64 // K, of the site's temperature; 0 for the usual
	lateSD     float64 // s, by which the readings may be late
	shock      bool    // the touchdown is that of a shock
	forceTrust trust
	forceSD    float64 // m/s2, of the accelerometer in the coast
}

// call is the live call of the apogee: its time in s and height in m, NaN where there is
// none, with their standard deviations.
type call struct{ at, atSD, m, mSD float64 }

// moments are the events in s; NaN where there is none.
type moments struct {
	liftoff, burnout, apogee, release, touchdown float64
	apogeeM                                      float64
	apogeeSD, apogeeMSD                          float64 // of the apogee's time in s and height in m, as far as the readings leave them open
	calledLate                                   float64 // s, when the live call of the apogee was made
	releaseSD                                    float64
	told                                         bool  // the board told its release
	second                                       stage // a second parachute
}

// begin fills what needs no computing.
func (a *analysis) begin(samples []decode.Sample, alarms []flight.Alarm) {
	o := &a.out
	o.Session, o.Rocket = a.cfg.Session, a.cfg.Rocket.Name
	if o.Session == "" {
		o.Session = samples[0].Session
	}
	if o.Rocket == "" {
		o.Rocket = samples[0].Rocket
	}
	for _, e := range a.events {
		if e.Flight > 0 {
			o.Flight = e.Flight
			break
		}
	}
	o.Frames = uint64(len(samples))
	// The samples are each of another number, in whatever order two links brought them.
	var numbers decode.Numbering
	for i := range samples {
		numbers.Add(samples[i].Boot, samples[i].Seq)
	}
	o.LostFrames = numbers.Lost()
	o.Alarms = []string{}
	seen := map[string]bool{}
	for _, al := range alarms {
		if !seen[al.Kind] {
			seen[al.Kind] = true
			o.Alarms = append(o.Alarms, al.Kind)
		}
	}
}

// locate reads the events.
func (a *analysis) locate() {
	nan := math.NaN()
	a.m = moments{liftoff: nan, burnout: nan, apogee: nan, release: nan, touchdown: nan, apogeeM: nan, calledLate: nan,
		apogeeSD: seenSD, apogeeMSD: seenMSD, releaseSD: 0.1}
	a.live = call{at: nan, m: nan}
	for i := range a.events {
		e := &a.events[i]
		if e.Flight != a.out.Flight {
			continue
		}
		at := e.At.Sub(a.r.ref).Seconds()
		switch e.Kind {
		case flight.Liftoff:
			a.m.liftoff = at
		case flight.Burnout:
			a.m.burnout = at
		case flight.Apogee:
			a.m.apogee = at
			a.m.calledLate = e.CalledAt.Sub(a.r.ref).Seconds()
			if e.AtSD != nil {
				a.m.apogeeSD = *e.AtSD
			}
			if e.AltitudeM != nil {
				a.m.apogeeM = *e.AltitudeM
			}
			if e.AltitudeM != nil && e.AltitudeSD != nil { // its total has the systematic part too
				whole := a.systematic(*e.AltitudeM)
				a.m.apogeeMSD = math.Sqrt(max(0.01, sq(*e.AltitudeSD)-sq(whole.total())))
				a.live = call{at, a.m.apogeeSD, *e.AltitudeM, *e.AltitudeSD}
			}
		case flight.Release:
			a.m.release = at
			a.m.told = e.Note != track.NoteReleaseSeen
			if e.AtSD != nil {
				a.m.releaseSD = *e.AtSD
			}
		case flight.Touchdown:
			a.m.touchdown = at
		}
	}
	if a.m.touchdown <= a.m.apogee {
		a.m.touchdown = math.NaN() // that of something else
	}
}

// firstFlight keeps the events of the lowest flight number.
func firstFlight(events []flight.Event) []flight.Event {
	n := 0
	for _, e := range events {
		if e.Flight > 0 && (n == 0 || e.Flight < n) {
			n = e.Flight
		}
	}
	var out []flight.Event
	for _, e := range events {
		if e.Flight == n {
			out = append(out, e)
		}
	}
	return out
}
