package web

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/alarm"
	"padlark/ingest"
	"padlark/storage"
)

// A flight's page shows this much before liftoff and after touchdown, and this
// much when no touchdown was seen.
const (
	flightLead   = 5 * time.Second
	flightTail   = 5 * time.Second
	flightNoEnd  = 3 * time.Minute
	framesAround = 40   // raw frames shown around an instant
	longestNote  = 4000 // bytes
)

// flightView is a flight in a list.
type flightView struct {
	ID string `json:"id"`
	flight.Result
}

// flightDetail is one flight with everything but its samples.
type flightDetail struct {
	ID       string          `json:"id"`
	Result   flight.Result   `json:"result"`
	From     time.Time       `json:"from"` // what the page shows
	To       time.Time       `json:"to"`
	Events   []flight.Event  `json:"events"`
	Alarms   []alarm.Raising `json:"alarms"`   // each time that one was raised
	Course   *courseView     `json:"course"`   // null where it could not be computed
	Expected *courseView     `json:"expected"` // null where the configuration does not say enough
	Track    *trackView      `json:"track"`    // null where no fix was heard
	Landing  *flight.Landing `json:"landing"`  // as in the result
	Channels []string        `json:"channels"`
	Links    []string        `json:"links"`
}

// trackView is a ground.Track as JSON.
type trackView struct {
	T       seconds `json:"t_s"`
	EastM   numbers `json:"east_m"`
	NorthM  numbers `json:"north_m"`
	HeightM numbers `json:"height_m"`
}

// courseView is a Course as JSON; t_s counts from liftoff.
type courseView struct {
	T         seconds `json:"t_s"`
	RawM      numbers `json:"raw_m"`
	HeightM   numbers `json:"height_m"`
	HeightSD  numbers `json:"height_sd_m"`
	SpeedMps  numbers `json:"speed_mps"`
	SpeedSD   numbers `json:"speed_sd_mps"`
	AccelMps2 numbers `json:"accel_mps2"`
	AccelSD   numbers `json:"accel_sd_mps2"`
}

func viewCourse(c *Course) *courseView {
	if c == nil || len(c.T) == 0 {
		return nil
	}
	return &courseView{c.T, c.RawM, c.HeightM, c.HeightSD, c.SpeedMps, c.SpeedSD, c.AccelMps2, c.AccelSD}
}

func (s *Server) apiFlights(w http.ResponseWriter, r *http.Request) error {
	views, err := s.flightViews(r.Context(), r.URL.Query().Get("session"), r.URL.Query().Get("rocket"))
	if err != nil {
		return err
	}
	return writeJSON(w, r, views)
}

// flightViews lists flights, newest first.
func (s *Server) flightViews(ctx context.Context, session, rocket string) ([]flightView, error) {
	results, err := s.opt.Flights.Flights(ctx, session)
	if err != nil {
		return nil, fmt.Errorf("list flights: %w", err)
	}
	return viewsOf(results, rocket), nil
}

func viewsOf(results []flight.Result, rocket string) []flightView {
	views := make([]flightView, 0, len(results))
	for _, res := range results {
		if rocket == "" || res.Rocket == rocket {
			views = append(views, flightView{FlightID{res.Session, res.Rocket, res.Flight}.String(), res})
		}
	}
	slices.SortStableFunc(views, func(a, b flightView) int {
		return launched(b.Result).Compare(launched(a.Result))
	})
	return views
}

func launched(r flight.Result) time.Time {
	if r.LaunchedAt == nil {
		return time.Time{}
	}
	return *r.LaunchedAt
}

// findFlight reads the flight that a request names.
func (s *Server) findFlight(r *http.Request) (FlightID, flight.Result, error) {
	return s.flightByName(r.Context(), r.PathValue("id"))
}

func (s *Server) flightByName(ctx context.Context, name string) (FlightID, flight.Result, error) {
	id, err := parseFlightID(name)
	if err != nil {
		return id, flight.Result{}, badRequest("flight", name, "a flight is named session~rocket~number; see /api/v1/flights")
	}
	res, err := s.opt.Flights.Flight(ctx, id)
	if notThere(err) {
		return id, res, notFound("flight", name, "see /flights for those that were recorded")
	}
	if err != nil {
		return id, res, fmt.Errorf("find flight %s: %w", id, err)
	}
	return id, res, nil
}

// window is the stretch of time that belongs to a flight, and the instant that
// its times count from.
func window(res flight.Result) (from, to, zero time.Time) {
	zero = launched(res)
	to = zero.Add(flightNoEnd)
	if res.TouchdownAt != nil {
		to = res.TouchdownAt.Add(flightTail)
	}
	return zero.Add(-flightLead), to, zero
}

func (s *Server) apiFlight(w http.ResponseWriter, r *http.Request) error {
	d, err := s.detail(r)
	if err != nil {
		return err
	}
	return writeJSON(w, r, d)
}

func (s *Server) detail(r *http.Request) (*flightDetail, error) {
	ctx := r.Context()
	id, res, err := s.findFlight(r)
	if err != nil {
		return nil, err
	}
	d := &flightDetail{ID: id.String(), Result: res, Events: []flight.Event{}}
	d.From, d.To, _ = window(res)
	events, err := s.opt.Archive.Events(ctx, storage.Query{Session: id.Session, Rocket: id.Rocket})
	if err != nil {
		return nil, fmt.Errorf("read events of %s: %w", id, err)
	}
	for _, e := range events {
		if e.Flight == id.Flight {
			d.Events = append(d.Events, e)
		}
	}
	alarms, err := s.opt.Archive.Alarms(ctx, storage.Query{Session: id.Session, Rocket: id.Rocket})
	if err != nil {
		return nil, fmt.Errorf("read alarms of %s: %w", id, err)
	}
	d.Alarms = alarm.Log(slices.DeleteFunc(alarms, func(a flight.Alarm) bool { return a.Flight != id.Flight }))
	course, expected, err := s.courses(ctx, id)
	if err != nil {
		return nil, err
	}
	d.Course, d.Expected = viewCourse(course), viewCourse(expected)
	track, err := s.opt.Flights.Track(ctx, id)
	if err != nil && !notThere(err) {
		return nil, fmt.Errorf("compute track of %s: %w", id, err)
	}
	if d.Landing = res.Landing; len(track.T) > 0 {
		d.Track = &trackView{track.T, track.EastM, track.NorthM, track.HeightM}
	}
	cols, err := s.flightColumns(ctx, id, res)
	if err != nil {
		return nil, err
	}
	d.Channels = append([]string{}, cols.names...)
	d.Links, err = s.linksOf(ctx, id.Session)
	return d, err
}

// courses gives the measured and the expected course; nil for what is unknown.
func (s *Server) courses(ctx context.Context, id FlightID) (course, expected *Course, err error) {
	if course, err = s.opt.Flights.Course(ctx, id); err != nil && !notThere(err) {
		return nil, nil, fmt.Errorf("compute course of %s: %w", id, err)
	}
	if expected, err = s.opt.Flights.Expected(ctx, id); err != nil && !notThere(err) {
		return nil, nil, fmt.Errorf("compute expected course of %s: %w", id, err)
	}
	return course, expected, nil
}

func (s *Server) linksOf(ctx context.Context, session string) ([]string, error) {
	one, err := s.session(ctx, session)
	if err != nil {
		return nil, err
	}
	return append([]string{}, one.Links...), nil
}

func (s *Server) flightColumns(ctx context.Context, id FlightID, res flight.Result) (*columns, error) {
	from, to, zero := window(res)
	return s.columnsOf(ctx, storage.Query{Session: id.Session, Rocket: id.Rocket, From: from, To: to}, nil, zero, res.TouchdownAt != nil)
}

// apiFlightSamples gives channels against the time since liftoff, reduced for a
// plot.
func (s *Server) apiFlightSamples(w http.ResponseWriter, r *http.Request) error {
	ask, err := readPlotAsk(r)
	if err != nil {
		return err
	}
	id, res, err := s.findFlight(r)
	if err != nil {
		return err
	}
	cols, err := s.flightColumns(r.Context(), id, res)
	if err != nil {
		return err
	}
	_, _, zero := window(res)
	out, err := ask.answer(cols, zero)
	if err != nil {
		return err
	}
	return writeJSON(w, r, out)
}

// apiFlightFrames gives the raw frames around an instant, decoded beside them.
func (s *Server) apiFlightFrames(w http.ResponseWriter, r *http.Request) error {
	id, res, err := s.findFlight(r)
	if err != nil {
		return err
	}
	atS, err := floatParam(r, "at_s", 0)
	if err != nil {
		return err
	}
	at := launched(res).Add(time.Duration(atS * float64(time.Second)))
	frames, err := s.framesNear(r.Context(), id, at)
	if err != nil {
		return err
	}
	return writeJSON(w, r, frames)
}

// framesNear reads the samples of a rocket near an instant and the frames that
// they were decoded from.
func (s *Server) framesNear(ctx context.Context, id FlightID, at time.Time) ([]frameView, error) {
	const reach = 2 * time.Second
	samples := map[string]*decode.Sample{}
	var when []time.Time
	q := storage.Query{Session: id.Session, Rocket: id.Rocket, From: at.Add(-reach), To: at.Add(reach)}
	err := s.opt.Archive.Samples(ctx, q, func(sm *decode.Sample) error {
		c := *sm
		c.Values = decode.Channels{Names: slices.Clone(sm.Values.Names), Values: slices.Clone(sm.Values.Values)}
		samples[frameKey(c.Link, c.N)] = &c
		when = append(when, c.Heard)
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("read samples near %s: %w", at.Format(time.RFC3339Nano), err)
	}
	out := []frameView{}
	if len(when) == 0 {
		return out, nil
	}
	first, last := slices.MinFunc(when, time.Time.Compare), slices.MaxFunc(when, time.Time.Compare)
	q = storage.Query{Session: id.Session, From: first, To: last.Add(1)}
	err = s.opt.Archive.Frames(ctx, q, func(f ingest.Frame) error {
		if sm := samples[frameKey(f.Link, f.N)]; sm != nil {
			out = append(out, viewFrame(frameEntry{frame: &f, sample: sm}))
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("read frames near %s: %w", at.Format(time.RFC3339Nano), err)
	}
	return nearest(out, at), nil
}

func frameKey(link string, n uint64) string { return fmt.Sprint(n, " ", link) }

// nearest cuts a list to the framesAround frames about an instant.
func nearest(frames []frameView, at time.Time) []frameView {
	i, _ := slices.BinarySearchFunc(frames, at, func(f frameView, t time.Time) int { return f.Heard.Compare(t) })
	lo := max(0, min(i-framesAround/2, len(frames)-framesAround))
	return frames[lo:min(len(frames), lo+framesAround)]
}

func (s *Server) apiNotes(w http.ResponseWriter, r *http.Request) error {
	if s.opt.Notes == nil {
		return absent("place for notes")
	}
	id, _, err := s.findFlight(r)
	if err != nil {
		return err
	}
	notes, err := s.notesOn(r.Context(), id)
	if err != nil {
		return err
	}
	return writeJSON(w, r, notes)
}

// notesOn are the notes on a flight; none where there is no place for them.
func (s *Server) notesOn(ctx context.Context, id FlightID) ([]storage.Note, error) {
	if s.opt.Notes == nil {
		return []storage.Note{}, nil
	}
	all, err := s.opt.Notes.Notes(ctx, id.Session)
	if err != nil {
		return nil, fmt.Errorf("read notes of %s: %w", id, err)
	}
	on := []storage.Note{}
	for _, n := range all {
		if n.Rocket == id.Rocket && n.Flight == id.Flight {
			on = append(on, n)
		}
	}
	return on, nil
}

func (s *Server) apiAddNote(w http.ResponseWriter, r *http.Request) error {
	if s.opt.Notes == nil {
		return absent("place for notes")
	}
	id, _, err := s.findFlight(r)
	if err != nil {
		return err
	}
	var in struct {
		Text string `json:"text"`
	}
	if err := readJSON(r, &in); err != nil {
		return err
	}
	text := strings.TrimSpace(in.Text)
	if text == "" || len(text) > longestNote || !utf8.ValidString(text) {
		return badRequest("text", short(text), fmt.Sprintf("type 1 to %d bytes of text", longestNote))
	}
	n, err := s.opt.Notes.AddNote(r.Context(), storage.Note{Session: id.Session, Rocket: id.Rocket, Flight: id.Flight, At: s.opt.Now().UTC(), Text: text})
	if err != nil {
		return fmt.Errorf("keep note on %s: %w", id, err)
	}
	w.Header().Set("Cache-Control", "no-store")
	return writeJSON(w, r, n)
}

func short(s string) string {
	if len(s) > 40 {
		return s[:40] + "…"
	}
	return s
}
