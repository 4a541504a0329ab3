package report

import (
	"context"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/alarm"
	"padlark/flight/phrase"
	"padlark/flight/smooth"
	"padlark/storage"
	"padlark/storage/results"
	"padlark/storage/sqlite"
)

// Page is one flight with everything that is known of it. Unknown is nil.
type Page struct {
	To       phrase.Reader `json:"-"`      // whom it is written for
	Flight   string        `json:"flight"` // session~rocket~number
	Title    string        `json:"title"`
	Result   flight.Result `json:"result"`
	Rows     []Row         `json:"rows"`
	Parts    Parts         `json:"apogee_sd_parts_m"`
	Events   []Moment      `json:"events"`
	Expected []Expected    `json:"expected"`
	// Predicted says from which launch the expected numbers were computed, ""
	// where they come from the configuration as they are.
	Predicted string   `json:"predicted_from"`
	Alarms    []Alarm  `json:"alarms"`
	Links     []Link   `json:"links"`
	Notes     []string `json:"notes"`
	Typed     Typed    `json:"typed"`
	// Caveats are what the data does not support.
	Caveats []string      `json:"caveats"`
	Rocket  flight.Rocket `json:"rocket"`
	Site    flight.Site   `json:"site"`
	Session Session       `json:"session"`
	Checkup *LastCheckup  `json:"last_checkup"`
	Series  Series        `json:"series"`
	// MadeBy is the software that made the page.
	MadeBy string `json:"made_by"`
}

// Row is one result.
type Row struct {
	Name  string   `json:"name"`
	Value *float64 `json:"value"`
	SD    *float64 `json:"sd"`
	Unit  string   `json:"unit"`
	Text  string   `json:"text"`
	How   string   `json:"how"`
}

// Moment is an event, in s after liftoff.
type Moment struct {
	Kind string    `json:"kind"`
	T    float64   `json:"t_s"`
	At   time.Time `json:"at"`
}

// Alarm is one alarm over its life.
type Alarm struct {
	T        float64         `json:"t_s"` // after liftoff
	EndT     *float64        `json:"end_t_s"`
	Priority flight.Priority `json:"priority"`
	Kind     string          `json:"kind"`
	Reason   string          `json:"reason"`
	Acked    bool            `json:"acknowledged"`
}

// Session is where the flight comes from.
type Session struct {
	ID          string    `json:"id"`
	Station     string    `json:"station"`
	Started     time.Time `json:"started_at"`
	Version     string    `json:"recorded_by"`
	ShiftS      float64   `json:"time_shift_s"`
	TimeFixedBy string    `json:"time_fixed_by"`
}

// LastCheckup is the newest bench test before the flight.
type LastCheckup struct {
	At      time.Time `json:"at"`
	Verdict string    `json:"verdict"`
}

// Series is the flight for plots; T in s after liftoff (or after the first
// reading, if no liftoff is known).
type Series struct {
	T        Numbers `json:"t_s"`
	Raw      Numbers `json:"raw_m"`
	Height   Numbers `json:"height_m"`
	HeightSD Numbers `json:"height_sd_m"`
	Speed    Numbers `json:"speed_mps"`
	SpeedSD  Numbers `json:"speed_sd_mps"`
}

// Numbers are written in JSON with null for what is not a number.
type Numbers []float64

// MarshalJSON writes six significant digits: more than any reading has.
func (n Numbers) MarshalJSON() ([]byte, error) {
	out := make([]byte, 0, 8*len(n)+2)
	out = append(out, '[')
	for i, v := range n {
		if i > 0 {
			out = append(out, ',')
		}
		if math.IsNaN(v) || math.IsInf(v, 0) {
			out = append(out, "null"...)
			continue
		}
		out = strconv.AppendFloat(out, v, 'g', 6, 64)
	}
	return append(out, ']'), nil
}

// Parts are the standard deviations that make up the apogee's, in m.
type Parts struct {
	Readings    float64 `json:"readings"`
	Temperature float64 `json:"temperature"`
	Lapse       float64 `json:"lapse"`
	Sensor      float64 `json:"sensor"`
}

// Reporter makes pages from one archive.
type Reporter struct {
	Archive *sqlite.Archive
	Results *results.Results
	MadeBy  string // the software and its version
	// Later are rockets as they are configured by now: what a session's own
	// configuration does not say of a bottle is taken from them.
	Later []flight.Rocket
	// To is whom pages are written for; JSON is in SI units for everybody.
	To phrase.Reader
}

// gathered is what a page is made from.
type gathered struct {
	session storage.Session
	flight  results.Flight
	rocket  flight.Rocket
	events  []flight.Event
	alarms  []flight.Alarm
	samples []decode.Sample
	zero    time.Time // liftoff
	later   bool      // the rocket's bottle is described by a later configuration
}

// Page gathers all about one flight.
func (r *Reporter) Page(ctx context.Context, ref Ref) (Page, error) {
	g, err := r.gather(ctx, ref)
	if err != nil {
		return Page{}, fmt.Errorf("report %s: %w", ref, err)
	}
	res := g.flight.Result
	p := Page{
		Flight: ref.String(), Title: fmt.Sprintf("Flight %d of %s", ref.Flight, ref.Rocket), Result: res,
		To: r.To, Rows: rows(&g, r.To), Parts: Parts(g.flight.Series.ApogeeParts), Events: moments(&g), Alarms: alarms(&g, r.To),
		Rocket: g.rocket, Site: g.session.Site, MadeBy: r.MadeBy, Notes: []string{},
		Series: newSeries(&g.flight.Series, g.zero),
		Session: Session{
			ID: g.session.ID, Station: g.session.Station, Started: g.session.Corrected(g.session.Started),
			Version: g.session.Version, ShiftS: g.session.Shift.Seconds(), TimeFixedBy: g.session.ShiftSource,
		},
	}
	if p.Links, err = r.links(ctx, &g); err != nil {
		return Page{}, fmt.Errorf("report %s: %w", ref, err)
	}
	if p.Notes, err = r.notes(ctx, ref); err != nil {
		return Page{}, fmt.Errorf("report %s: %w", ref, err)
	}
	p.Typed = ReadTyped(p.Notes)
	predicted, why := prediction(&g, p.Typed)
	p.Expected = expectations(&g, predicted)
	if predicted != nil {
		p.Predicted = predictedFrom(&g, p.Typed)
	}
	if p.Checkup, err = r.lastCheckup(ctx, ref.Rocket, g.zero); err != nil {
		return Page{}, fmt.Errorf("report %s: %w", ref, err)
	}
	p.Caveats = caveats(&g, &p)
	if why != "" {
		p.Caveats = append(p.Caveats, why)
	}
	return p, nil
}

func (r *Reporter) gather(ctx context.Context, ref Ref) (gathered, error) {
	var g gathered
	var err error
	if g.session, err = r.Archive.Session(ctx, ref.Session); err != nil {
		return g, err
	}
	if g.flight, err = r.Results.Flight(ctx, ref.Session, ref.Rocket, ref.Flight); err != nil {
		return g, err
	}
	q := storage.Query{Session: ref.Session, Rocket: ref.Rocket, Flight: ref.Flight}
	if g.events, err = r.Archive.Events(ctx, q); err != nil {
		return g, err
	}
	if g.alarms, err = r.Archive.Alarms(ctx, q); err != nil {
		return g, err
	}
	err = r.Archive.Samples(ctx, q, func(s *decode.Sample) error {
		g.samples = append(g.samples, *s)
		return nil
	})
	g.rocket = flight.Rocket{Name: ref.Rocket}
	for _, k := range g.session.Rockets {
		if k.Name == ref.Rocket {
			g.rocket = k
		}
	}
	for _, k := range r.Later {
		if k.Name == ref.Rocket && g.rocket.BottleL == 0 {
			g.later = addBottle(&g.rocket, k)
		}
	}
	g.zero = g.flight.Series.Start
	if at := g.flight.Result.LaunchedAt; at != nil {
		g.zero = *at
	} else if len(g.events) > 0 {
		g.zero = g.events[0].At
	}
	return g, err
}

func newSeries(s *smooth.Series, zero time.Time) Series {
	out := Series{T: make(Numbers, len(s.T)), Raw: s.Raw, Height: s.Height, HeightSD: s.HeightSD, Speed: s.Speed, SpeedSD: s.SpeedSD}
	shift := s.Start.Sub(zero).Seconds()
	for i, t := range s.T {
		out.T[i] = t + shift
	}
	return out
}

// moments are the events, as the analysis afterwards has them where it does.
func moments(g *gathered) []Moment {
	res := &g.flight.Result
	later := map[flight.Kind]*time.Time{
		flight.Liftoff: res.LaunchedAt, flight.Apogee: res.ApogeeAt, flight.Release: res.ReleaseAt, flight.Touchdown: res.TouchdownAt,
	}
	if res.LaunchedAt != nil && res.BurnoutS != nil {
		at := res.LaunchedAt.Add(time.Duration(*res.BurnoutS * 1e9))
		later[flight.Burnout] = &at
	}
	out := []Moment{}
	for _, kind := range []flight.Kind{flight.Liftoff, flight.Burnout, flight.Apogee, flight.Release, flight.Touchdown} {
		at := later[kind]
		for i := range g.events {
			if at == nil && g.events[i].Kind == kind {
				at = &g.events[i].At
			}
		}
		if at != nil {
			out = append(out, Moment{string(kind), at.Sub(g.zero).Seconds(), *at})
		}
	}
	return out
}

// alarms are the times that an alarm was raised, in s of the flight.
func alarms(g *gathered, to phrase.Reader) []Alarm {
	out := []Alarm{}
	for _, r := range alarm.Log(g.alarms) {
		a := Alarm{T: r.RaisedAt.Sub(g.zero).Seconds(), Priority: r.Priority, Kind: r.Kind, Reason: to.Write(r.ReasonPhrase, r.Reason), Acked: r.Acked}
		if r.OverAt != nil {
			t := r.OverAt.Sub(g.zero).Seconds()
			a.EndT = &t
		}
		out = append(out, a)
	}
	return out
}

// notes are the remarks on the flight, and those on its session.
func (r *Reporter) notes(ctx context.Context, ref Ref) ([]string, error) {
	all, err := r.Archive.Notes(ctx, ref.Session)
	if err != nil {
		return nil, err
	}
	out := []string{}
	for _, n := range all {
		whole := n.Rocket == "" && n.Flight == 0
		if whole || n.Rocket == ref.Rocket && (n.Flight == 0 || n.Flight == ref.Flight) {
			out = append(out, strings.TrimSpace(n.Text))
		}
	}
	return out, nil
}

func (r *Reporter) lastCheckup(ctx context.Context, rocket string, before time.Time) (*LastCheckup, error) {
	all, err := r.Archive.Checkups(ctx, rocket)
	if err != nil {
		return nil, err
	}
	var last *LastCheckup
	for _, c := range all {
		if c.At.Before(before) {
			last = &LastCheckup{c.At, c.Verdict}
		}
	}
	return last, nil
}
