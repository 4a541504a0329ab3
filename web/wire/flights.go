package wire

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"padlark/flight"
	"padlark/flight/atmos"
	"padlark/flight/ground"
	"padlark/flight/model"
	"padlark/storage/results"
	"padlark/storage/sqlite"
	"padlark/web"
)

// Flights fits the results worked out from an archive to web.Flights.
type Flights struct {
	*results.Results
	Archive *sqlite.Archive
}

// Listed lists flights for whoever does not wait.
func (f Flights) Listed(ctx context.Context, session string) ([]flight.Result, error) {
	return f.Results.Listed(ctx, session)
}

// Flight is one flight without its course.
func (f Flights) Flight(ctx context.Context, id web.FlightID) (flight.Result, error) {
	out, err := f.Results.Result(ctx, id.Session, id.Rocket, id.Flight)
	if errors.Is(err, results.ErrNoFlight) {
		err = errors.Join(web.ErrNotFound, err)
	}
	return out, err
}

// VoidFlights lists those that a person took for none.
func (f Flights) VoidFlights(ctx context.Context, session string) ([]flight.Result, error) {
	all, err := f.Results.EveryFlight(ctx, session)
	return slices.DeleteFunc(all, func(r flight.Result) bool { return r.Level != flight.Void }), err
}

// SetVoid keeps what a person says of a flight.
func (f Flights) SetVoid(ctx context.Context, id web.FlightID, void bool, why string, at time.Time) error {
	s, err := f.Archive.Session(ctx, id.Session)
	if err != nil {
		return err
	}
	return f.Archive.SetVoid(ctx, sqlite.Void{Session: id.Session, Rocket: id.Rocket, Flight: id.Flight, Void: void, At: at.Add(-s.Shift), Why: why})
}

// Join makes one of a flight and the one that follows it.
func (f Flights) Join(ctx context.Context, id web.FlightID) ([]web.FlightID, error) {
	spans, err := f.Archive.Flights(ctx, id.Session)
	if err != nil {
		return nil, err
	}
	found := false
	for _, s := range spans { // by their liftoffs
		if s.Rocket == id.Rocket && found {
			err := f.Results.Join(ctx, id.Session, name(id), sqlite.FlightName{Rocket: s.Rocket, Flight: s.Flight})
			return []web.FlightID{id}, refused(err)
		}
		found = found || s.Rocket == id.Rocket && s.Flight == id.Flight
	}
	return nil, fmt.Errorf("%w: no flight of %s follows it in this session", web.ErrRefused, id.Rocket)
}

// Split makes two of a flight.
func (f Flights) Split(ctx context.Context, id web.FlightID, atS float64) ([]web.FlightID, error) {
	second, err := f.Results.Split(ctx, id.Session, name(id), atS)
	return append([]web.FlightID{id}, ids(id.Session, second)...), refused(err)
}

// Rename gives a flight to another rocket.
func (f Flights) Rename(ctx context.Context, id web.FlightID, rocket string) ([]web.FlightID, error) {
	now, err := f.Results.Rename(ctx, id.Session, name(id), rocket)
	return ids(id.Session, now...), refused(err)
}

// Undo takes back the newest correction of a flight.
func (f Flights) Undo(ctx context.Context, id web.FlightID) ([]web.FlightID, error) {
	now, err := f.Results.Undo(ctx, id.Session, name(id))
	return ids(id.Session, now...), refused(err)
}

// Corrected says in words how a flight was corrected last.
func (f Flights) Corrected(ctx context.Context, id web.FlightID) (string, error) {
	log, err := f.Archive.Corrections(ctx, id.Session)
	words := ""
	for _, c := range log {
		for _, now := range c.Now {
			if !c.Undone && now.FlightName == name(id) {
				words = map[string]string{"join": "It was two flights: ", "split": "It was one flight: ", "rename": "It was called "}[c.Kind] + listed(c.Was)
			}
		}
	}
	return words, err
}

func listed(names []sqlite.FlightName) string {
	s := make([]string, len(names))
	for i, n := range names {
		s[i] = n.String()
	}
	return strings.Join(s, ", ")
}

func name(id web.FlightID) sqlite.FlightName {
	return sqlite.FlightName{Rocket: id.Rocket, Flight: id.Flight}
}

func ids(session string, names ...sqlite.FlightName) []web.FlightID {
	out := make([]web.FlightID, len(names))
	for i, n := range names {
		out[i] = web.FlightID{Session: session, Rocket: n.Rocket, Flight: n.Flight}
	}
	return out
}

// refused tells what cannot be done from what has failed.
func refused(err error) error {
	if errors.Is(err, results.ErrCannotCorrect) {
		return errors.Join(web.ErrRefused, err)
	}
	return err
}

// Course is the smoothed flight; times count from the liftoff.
func (f Flights) Course(ctx context.Context, id web.FlightID) (*web.Course, error) {
	one, err := f.flight(ctx, id)
	if err != nil {
		return nil, err
	}
	s, res := one.Series, one.Result
	if len(s.T) == 0 || res.LaunchedAt == nil {
		return nil, web.ErrNotFound
	}
	offset := s.Start.Sub(*res.LaunchedAt).Seconds()
	t := make([]float64, len(s.T))
	for i := range t {
		t[i] = s.T[i] + offset
	}
	return &web.Course{T: t, RawM: s.Raw, HeightM: s.Height, HeightSD: s.HeightSD,
		SpeedMps: s.Speed, SpeedSD: s.SpeedSD, AccelMps2: s.Accel, AccelSD: s.AccelSD}, nil
}

// Track is the flight's path over the ground.
func (f Flights) Track(ctx context.Context, id web.FlightID) (ground.Track, error) {
	one, err := f.flight(ctx, id)
	return one.Track, err
}

func (f Flights) flight(ctx context.Context, id web.FlightID) (results.Flight, error) {
	one, err := f.Results.Flight(ctx, id.Session, id.Rocket, id.Flight)
	if errors.Is(err, results.ErrNoFlight) {
		err = errors.Join(web.ErrNotFound, err)
	}
	return one, err
}

// Expected is what the model makes of the burnout speed that was measured: how high and how long the rest should have been.
func (f Flights) Expected(ctx context.Context, id web.FlightID) (*web.Course, error) {
	one, err := f.flight(ctx, id)
	if err != nil {
		return nil, err
	}
	s, err := f.Archive.Session(ctx, id.Session)
	if err != nil {
		return nil, err
	}
	if r, known := flight.RocketNamed(s.Rockets, id.Rocket); known {
		return fromBurnout(r, s.Site, one.Result), nil
	}
	return nil, nil
}

const (
	courseStep = 0.05 // s
)

// fromBurnout flies the rocket with a steady push that gives it the measured
// speed at the measured burnout; nil where mass, diameter, drag or measurement
// are not known. What the push really was does not matter afterwards.
func fromBurnout(r flight.Rocket, site flight.Site, res flight.Result) *web.Course {
	if r.MassKg <= 0 || r.DiameterM <= 0 || r.Cd <= 0 || res.MaxSpeedMps == nil || res.BurnoutS == nil || *res.BurnoutS <= 0 {
		return nil
	}
	const grain = 1e-6 // kg: a motor must burn something
	push := *res.BurnoutS
	force := r.MassKg * (*res.MaxSpeedMps/push + atmos.StandardGravity)
	m := model.Rocket{Dry: r.MassKg, Diameter: r.DiameterM, Cd: r.Cd, Parachute: r.ParachuteM, ParachuteCd: r.ParachuteCd,
		Motor: &model.Motor{Propellant: grain, Total: 2 * grain, Curve: []model.Thrust{{T: 0, N: force}, {T: push, N: force}, {T: push * 1.001, N: 0}}}}
	if r.ParachuteM > 0 && r.Release != "none" {
		m.Release = model.Release{How: model.AfterApogee}
		if res.ReleaseLagS != nil {
			m.Release.Seconds = *res.ReleaseLagS
		}
	}
	tr, err := model.Fly(m, model.Launch{Air: airOf(site)})
	if err != nil {
		return nil // the model does not cover this rocket: there is no expectation
	}
	c := &web.Course{}
	for t := push; t <= tr.Duration(); t += courseStep {
		p := tr.At(t)
		c.T, c.HeightM = append(c.T, t), append(c.HeightM, p.Height)
		c.SpeedMps, c.AccelMps2 = append(c.SpeedMps, p.Speed), append(c.AccelMps2, p.Accel)
	}
	return c
}

func airOf(site flight.Site) model.Air {
	var a model.Air
	if site.ElevationM != nil {
		a.Elevation = *site.ElevationM
	}
	if site.TemperatureC != nil {
		a.Temperature = *site.TemperatureC + atmos.ZeroC
	}
	if site.PressurePa != nil {
		a.Pressure = *site.PressurePa
	}
	if site.Humidity != nil {
		a.Humidity = *site.Humidity
	}
	return a
}
