package web

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sort"
	"strings"
	"sync"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/ground"
	"padlark/flight/phrase"
	"padlark/flight/smooth"
	"padlark/ingest"
	"padlark/storage"
	"padlark/storage/results"
	"padlark/watch"
)

// The invented station of these tests: three rockets on north-field, heard on
// one or two links, and everything that Options asks for, in memory.

var inventedEpoch = time.Date(2025, 6, 14, 9, 30, 0, 0, time.UTC)

// invented is a whole archive in memory, and the live stream beside it.
type invented struct {
	mu       sync.Mutex
	sessions []Session
	samples  map[string][]decode.Sample // by session, in the order of Passed
	events   map[string][]flight.Event
	alarms   map[string][]flight.Alarm // every change
	notes    []storage.Note
	void     []flight.Result
	waiting  string // a rocket whose flights are not worked out yet
	acked    []string
	viewers  map[int]func(Message)
	nextView int
	engines  map[string]*watch.Engine // of running sessions
	fixed    time.Duration
	worked   map[string]analysis // flights that are over, by name
	ear      ear
	clock    func() time.Time          // session time while something flies
	phases   map[string][]flight.Phase // of each state published, by rocket
}

type analysis struct {
	res    flight.Result
	series smooth.Series
	track  ground.Track
}

func newInvented() *invented {
	return &invented{samples: map[string][]decode.Sample{}, events: map[string][]flight.Event{}, alarms: map[string][]flight.Alarm{},
		viewers: map[int]func(Message){}, engines: map[string]*watch.Engine{}, worked: map[string]analysis{}, phases: map[string][]flight.Phase{}}
}

func newEngine(session string, epoch time.Time) *watch.Engine {
	e, err := watch.NewEngine(watch.Config{Session: session, Epoch: epoch, Rockets: inventedRockets()})
	if err != nil {
		panic(err) // the rockets above are wrong
	}
	return e
}

// record lets a finished session of hops run through the engine.
func (v *invented) record(session string, epoch time.Time, hops ...hop) {
	all := mergeHops(session, epoch, hops)
	e := newEngine(session, epoch)
	var last time.Time
	var bytes uint64
	for i := range all {
		out := e.Sample(&all[i])
		v.events[session] = append(v.events[session], out.Events...)
		v.alarms[session] = append(v.alarms[session], out.Alarms...)
		last = all[i].Heard
		bytes += uint64(len(frameOf(&all[i]).Bytes))
	}
	v.samples[session] = all
	s := Session{ID: session, Station: "north-field", Epoch: epoch, Ended: &last, Last: &last, Counted: true, Frames: uint64(len(all)), Bytes: bytes,
		Gaps: []Gap{{From: epoch.Add(3 * time.Second), To: epoch.Add(9 * time.Second)}}, Version: "test"}
	for _, h := range hops {
		if !slices.Contains(s.Rockets, h.rocket) {
			s.Rockets = append(s.Rockets, h.rocket)
		}
		if !slices.Contains(s.Links, h.link) {
			s.Links = append(s.Links, h.link)
		}
	}
	v.sessions = append(v.sessions, s)
}

// mergeHops renders hops and puts their samples into one order. Frame numbers
// count per link.
func mergeHops(session string, epoch time.Time, hops []hop) []decode.Sample {
	var all []decode.Sample
	for i, h := range hops {
		all = append(all, samplesOf(session, epoch, h, uint64(i+1))...)
	}
	sort.SliceStable(all, func(i, k int) bool { return all[i].Passed < all[k].Passed })
	n := map[string]uint64{}
	for i := range all {
		n[all[i].Link]++
		all[i].N = n[all[i].Link]
		all[i].Passed += int64(i % 7) // no two at the same instant
	}
	return all
}

func (v *invented) Sessions(context.Context) ([]Session, error) {
	v.mu.Lock()
	defer v.mu.Unlock()
	return slices.Clone(v.sessions), nil
}

func (v *invented) Samples(_ context.Context, q storage.Query, each func(*decode.Sample) error) error {
	v.mu.Lock()
	all := v.samples[q.Session]
	v.mu.Unlock()
	var out []*decode.Sample
	for i := range all {
		s := &all[i]
		if q.Rocket != "" && s.Rocket != q.Rocket || q.Link != "" && s.Link != q.Link ||
			!q.From.IsZero() && s.At.Before(q.From) || !q.To.IsZero() && !s.At.Before(q.To) ||
			s.Passed < q.FromPassed || q.ToPassed > 0 && s.Passed >= q.ToPassed {
			continue
		}
		out = append(out, s)
	}
	slices.SortStableFunc(out, func(x, y *decode.Sample) int { return strings.Compare(x.Rocket, y.Rocket) })
	for _, s := range out {
		if err := each(s); err != nil {
			return err
		}
	}
	return nil
}

func (v *invented) Columns(ctx context.Context, q storage.Query, names []string, each func(*storage.Columns) error) error {
	return v.Samples(ctx, q, func(s *decode.Sample) error {
		c := storage.Columns{Channels: s.Values.Names, At: []int64{s.At.UnixNano()}, Passed: s.Passed}
		asked := names
		if asked == nil {
			asked = s.Values.Names
		}
		for _, n := range asked {
			x, _ := s.Values.Get(n)
			c.Values = append(c.Values, []float64{x})
		}
		return each(&c)
	})
}

func (v *invented) Frames(ctx context.Context, q storage.Query, each func(ingest.Frame) error) error {
	from, to := q.From, q.To
	q.From, q.To = time.Time{}, time.Time{}
	return v.Samples(ctx, q, func(s *decode.Sample) error {
		if s.Heard.Before(from) || !to.IsZero() && !s.Heard.Before(to) {
			return nil
		}
		return each(frameOf(s))
	})
}

func (v *invented) Events(_ context.Context, q storage.Query) ([]flight.Event, error) {
	v.mu.Lock()
	defer v.mu.Unlock()
	var out []flight.Event
	for _, e := range v.events[q.Session] {
		if q.Rocket == "" || e.Rocket == q.Rocket {
			out = append(out, e)
		}
	}
	return out, nil
}

func (v *invented) Alarms(_ context.Context, q storage.Query) ([]flight.Alarm, error) {
	v.mu.Lock()
	defer v.mu.Unlock()
	var out []flight.Alarm
	for _, a := range v.alarms[q.Session] {
		if q.Rocket == "" || a.Rocket == q.Rocket {
			out = append(out, a)
		}
	}
	return out, nil
}

// analysed runs the smoother over one flight.
func (v *invented) analysed(session, rocket string, n int) (flight.Result, smooth.Series, error) {
	a, err := v.analysis(session, rocket, n)
	return a.res, a.series, err
}

func (v *invented) Track(_ context.Context, id FlightID) (ground.Track, error) {
	a, err := v.analysis(id.Session, id.Rocket, id.Flight)
	return a.track, err
}

func (v *invented) analysis(session, rocket string, n int) (analysis, error) {
	v.mu.Lock()
	defer v.mu.Unlock()
	name := FlightID{session, rocket, n}.String()
	if w, ok := v.worked[name]; ok {
		return w, nil
	}
	var events []flight.Event
	var up, down time.Time
	for _, e := range v.events[session] {
		if e.Rocket == rocket && e.Flight == n {
			events = append(events, e)
			switch e.Kind {
			case flight.Liftoff:
				up = e.At
			case flight.Touchdown:
				down = e.At
			}
		}
	}
	if up.IsZero() {
		return analysis{}, ErrNotFound
	}
	over := !down.IsZero()
	if !over {
		down = up.Add(2 * time.Minute)
	}
	var samples []decode.Sample
	for _, s := range v.samples[session] {
		if s.Rocket == rocket && s.At.After(up.Add(-10*time.Second)) && s.At.Before(down.Add(10*time.Second)) {
			samples = append(samples, s)
		}
	}
	var cfg flight.Rocket
	for _, r := range inventedRockets() {
		if r.Name == rocket {
			cfg = r
		}
	}
	res, series, err := smooth.Analyse(smooth.Config{Session: session, Rocket: cfg}, samples, events, nil)
	a := analysis{res: res, series: series}
	if err == nil {
		height := func(at time.Time) (float64, float64) {
			i := min(sort.SearchFloat64s(series.T, at.Sub(series.Start).Seconds()), len(series.T)-1)
			return series.Height[i], -series.Speed[i]
		}
		a.track, a.res.Landing = ground.Trace(cfg, flight.Site{}, samples, &res, height)
		if over {
			v.worked[name] = a
		}
	}
	return a, err
}

func (v *invented) Flights(ctx context.Context, session string) ([]flight.Result, error) {
	all, err := v.everyFlight(ctx, session)
	v.mu.Lock()
	defer v.mu.Unlock()
	return slices.DeleteFunc(all, func(r flight.Result) bool {
		return slices.ContainsFunc(v.void, func(x flight.Result) bool {
			return x.Session == r.Session && x.Rocket == r.Rocket && x.Flight == r.Flight
		})
	}), err
}

// Listed leaves the flights of waiting out as a station does that has not worked
// them out yet.
func (v *invented) Listed(ctx context.Context, session string) ([]flight.Result, error) {
	out, err := v.Flights(ctx, session)
	void, verr := v.VoidFlights(ctx, session)
	for i := range out {
		if v.waiting != "" && out[i].Rocket == v.waiting {
			r := &out[i]
			*r = flight.Result{Session: r.Session, Rocket: r.Rocket, Flight: r.Flight, LaunchedAt: r.LaunchedAt}
			r.Judge(flight.Look, phrase.Of(results.Waiting))
		}
	}
	return append(out, void...), errors.Join(err, verr)
}

func (v *invented) Flight(ctx context.Context, id FlightID) (flight.Result, error) {
	out, err := v.Listed(ctx, id.Session)
	for _, r := range out {
		if r.Rocket == id.Rocket && r.Flight == id.Flight {
			return r, err
		}
	}
	return flight.Result{}, errors.Join(err, ErrNotFound)
}

func (v *invented) everyFlight(_ context.Context, session string) ([]flight.Result, error) {
	var out []flight.Result
	v.mu.Lock()
	sessions := slices.Clone(v.sessions)
	v.mu.Unlock()
	for _, s := range sessions {
		if session != "" && s.ID != session {
			continue
		}
		v.mu.Lock()
		events := slices.Clone(v.events[s.ID])
		v.mu.Unlock()
		for _, e := range events {
			if e.Kind != flight.Liftoff {
				continue
			}
			res, _, err := v.analysed(s.ID, e.Rocket, e.Flight)
			if err != nil {
				return nil, err
			}
			out = append(out, res)
		}
	}
	return out, nil
}

func (v *invented) Course(_ context.Context, id FlightID) (*Course, error) {
	res, s, err := v.analysed(id.Session, id.Rocket, id.Flight)
	if err != nil {
		return nil, err
	}
	t := make([]float64, len(s.T))
	for i := range t {
		t[i] = s.T[i] + s.Start.Sub(*res.LaunchedAt).Seconds()
	}
	return &Course{T: t, RawM: s.Raw, HeightM: s.Height, HeightSD: s.HeightSD, SpeedMps: s.Speed, SpeedSD: s.SpeedSD, AccelMps2: s.Accel, AccelSD: s.AccelSD}, nil
}

func (v *invented) Expected(_ context.Context, id FlightID) (*Course, error) {
	if id.Rocket == "Plum" {
		return nil, nil
	}
	c := &Course{}
	h := hop{speed: 41, sink: 5}
	for t := 0.0; t < h.airborne(); t += 0.1 {
		height, _ := h.heightOf(t)
		c.T, c.HeightM = append(c.T, t), append(c.HeightM, height)
	}
	return c, nil
}

func (v *invented) Notes(_ context.Context, session string) ([]storage.Note, error) {
	v.mu.Lock()
	defer v.mu.Unlock()
	var out []storage.Note
	for _, n := range v.notes {
		if n.Session == session {
			out = append(out, n)
		}
	}
	return out, nil
}

func (v *invented) AddNote(_ context.Context, n storage.Note) (storage.Note, error) {
	v.mu.Lock()
	defer v.mu.Unlock()
	n.ID = int64(len(v.notes) + 1)
	v.notes = append(v.notes, n)
	return n, nil
}

func (v *invented) VoidFlights(_ context.Context, session string) ([]flight.Result, error) {
	v.mu.Lock()
	defer v.mu.Unlock()
	var out []flight.Result
	for _, r := range v.void {
		if session == "" || r.Session == session {
			out = append(out, r)
		}
	}
	return out, nil
}

func (v *invented) SetVoid(ctx context.Context, id FlightID, void bool, why string, _ time.Time) error {
	all, err := v.everyFlight(ctx, id.Session)
	v.mu.Lock()
	defer v.mu.Unlock()
	for _, r := range all {
		if (FlightID{r.Session, r.Rocket, r.Flight}) == id && err == nil {
			v.void = slices.DeleteFunc(v.void, func(x flight.Result) bool {
				return x.Rocket == r.Rocket && x.Flight == r.Flight && x.Session == r.Session
			})
			if void {
				r.Judge(flight.Void, phrase.Of("void", phrase.Word("why", why)))
				v.void = append(v.void, r)
			}
		}
	}
	return err
}

// The invented station corrects nothing, and says what it was asked to.
func (v *invented) Join(context.Context, FlightID) ([]FlightID, error) {
	return nil, fmt.Errorf("%w: no flight follows it", ErrRefused)
}

func (v *invented) Split(_ context.Context, id FlightID, atS float64) ([]FlightID, error) {
	return []FlightID{id, {id.Session, id.Rocket, int(atS)}}, nil
}

func (v *invented) Rename(_ context.Context, id FlightID, rocket string) ([]FlightID, error) {
	return []FlightID{{id.Session, rocket, id.Flight}}, nil
}

func (v *invented) Undo(_ context.Context, id FlightID) ([]FlightID, error) {
	return []FlightID{id}, nil
}

func (v *invented) Corrected(context.Context, FlightID) (string, error) {
	return "It was called Rust-2", nil
}

func (v *invented) ClockStatus(context.Context) (ClockStatus, error) {
	v.mu.Lock()
	defer v.mu.Unlock()
	how := "nothing has told it the time since it started"
	if v.fixed != 0 {
		how = "fixed"
	}
	return ClockStatus{Now: time.Now().Add(-3*time.Hour + v.fixed), Trusted: v.fixed != 0, How: how}, nil
}

func (v *invented) FixClock(_ context.Context, session, truth time.Time, _ time.Duration, _ string) error {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.fixed = truth.Sub(session)
	return nil
}

func (v *invented) now() time.Time {
	v.mu.Lock()
	defer v.mu.Unlock()
	if v.clock != nil {
		return v.clock()
	}
	return time.Now()
}

// options are those of a server over the invented station.
func (v *invented) options() Options {
	return Options{
		Ready: func(context.Context) []Finding {
			return []Finding{
				{Part: "link pad-radio", State: "bad", Found: "there is no /dev/padlark-radio", Mend: "plug it in; padlark ports lists what is there"},
				{Part: "disk", State: "good", Found: "a write is on the disk after 12 ms (at most 40 ms); 21.4 GB free"},
				{Part: "clock", State: "look", Found: "it says 2025-06-14 09:30; it has no battery and was not synchronised", Mend: "compare it with a watch; the page Clock sets it"},
			}
		},
		Guess: inventedGuess,
		Keys: func(word string) ([]Key, error) {
			return []Key{
				{"[[link]]", "name", "text", "name is used in subjects and paths: letters, digits, - and _."},
				{"[[link]]", "usb.vid", "text", "vid and pid are the adapter's vendor and product, four hex digits each."},
				{"[[link]]", "usb.pid", "text", "vid and pid are the adapter's vendor and product, four hex digits each."},
				{"[[link.extremely_long_table_name_of_a_reference]]", "delivery_of_frames_in_seconds.at_the_longest", "list of whole number", "asked for " + word},
			}, nil
		},
		Listen: "127.0.0.1:0", Station: "north-field", Version: "test", Rockets: inventedRockets(),
		Archive: v, Flights: v, Live: v, Acker: v, Notes: v, Voids: v, Corrector: v, Sounder: v.ear, Clock: v, Now: v.now,
		NewMachine: func(_ context.Context, s Session) (*watch.Engine, error) {
			return newEngine(s.ID, s.Epoch), nil
		},
	}
}

// inventedGuess is what a station says of a board that nobody has described.
func inventedGuess(link string) (LinkGuess, error) {
	if link != "pad-radio" {
		return LinkGuess{Link: link, None: "3 lines are too few to guess from: save some more, 5 at least"}, nil
	}
	return LinkGuess{
		Link: link, Heard: 118, Read: 117,
		Config: "# 1. In the [[link]] named \"pad-radio\" write:\n#     layout = \"pad-radio-board\"\n# 2. Put these lines at the end of the configuration.\n\n[[layout]]\nname = \"pad-radio-board\"\nframing = \"line\"\nform = \"delimited\"\nfields = [\n  { name = \"clock\", unit = \"ms\" },\n  { name = \"pressure_pa\", unit = \"hPa\" },\n]\n",
		Points: []GuessPoint{{"framing", "line", "sure", "118 lines of text"}, {"separator", ",", "sure", ""}, {"checksum", "none", "likely", "no line ends like one that is known"}},
		Asks:   []string{"no column says that the parachute was released: it is then inferred from the descent, later and less surely"},
		Frames: []GuessFrame{{Layout: "pad-radio-board", Hex: []byte("7260,986.40,21.4,4015,0"), Columns: []GuessColumn{
			{Raw: "7260", Name: "clock", Value: "7.260 s", Use: "time", Sure: "sure", Why: "it rises by 5850 in the 6 s of listening"},
			{Raw: "986.40", Name: "pressure_pa", Value: "98640 Pa", Use: "height", Sure: "sure", Why: "986.38 to 986.42 is an air pressure in hPa"},
			{Raw: "21.4", Name: "temperature_c", Value: "21.4 degC", Use: "the board's health", Sure: "likely", Why: "21.4 to 21.5 may be a temperature in degC"},
			{Raw: "OK", Sure: "not known", Why: "it holds words, and is passed over"},
			{Raw: "0", Name: "column_5", Value: "0", Sure: "not known", Why: "it is always 0", Ask: "what is column 5, always 0? Name it (padlark check --keys field), or leave it"},
		}}},
	}, nil
}
