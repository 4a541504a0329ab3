package results

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"sort"
	"sync"
	"sync/atomic"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/ground"
	"padlark/flight/phrase"
	"padlark/flight/smooth"
	"padlark/flight/track"
	"padlark/storage"
	"padlark/storage/sqlite"
)

// margin is how much of the pad and the rest on the ground belongs to a flight.
const margin = 30 * time.Second

// silence is after how long a rocket in the air counts as no longer heard.
const silence = 10 * time.Second

// ErrNoFlight is returned when the archive holds no such flight.
var ErrNoFlight = errors.New("no such flight")

// Flight is one flight worked out.
type Flight struct {
	Result flight.Result
	Series smooth.Series
	Track  ground.Track
	CellV  *float64 // of the supply at rest before the liftoff, V
}

// Results works out the flights of one archive. It is safe for concurrent use.
type Results struct {
	archive *sqlite.Archive

	keeps bool         // writes summaries
	tell  func(uint64) // how many were worked out, if somebody wants to know
	count atomic.Uint64

	mu       sync.Mutex
	known    map[key]kept
	whole    []key                // of those known with their courses, oldest first
	sessions map[string]summaries // of those that have ended
	totals   map[string]counted

	counting sync.Mutex // one count at a time
}

type key struct {
	session, rocket string
	flight          int
}

// kept is a computed flight with what it was computed from: as long as no event
// or alarm has come since, the flight is the same.
type kept struct {
	flight  Flight
	events  int
	alarms  int
	shift   time.Duration
	said    string // by corrections
	settled bool   // it has a touchdown, or its session has ended
	over    bool   // its session has ended: the summary is kept elsewhere
	bare    bool   // without its course, which takes the most room
}

// keepMost bounds the flights whose courses are kept in memory.
const keepMost = 64

// New makes Results for an archive.
func New(a *sqlite.Archive) *Results {
	return &Results{archive: a, known: map[key]kept{}, sessions: map[string]summaries{}, totals: map[string]counted{}}
}

// Flights works out all flights of one session, or of every session when
// session is empty, in the order of their liftoffs. Void ones do not count.
func (r *Results) Flights(ctx context.Context, session string) ([]flight.Result, error) {
	return resultsOf(r.list(ctx, session, r.archive.Flights))
}

// EveryFlight is Flights with the void ones, which say so.
func (r *Results) EveryFlight(ctx context.Context, session string) ([]flight.Result, error) {
	return resultsOf(r.list(ctx, session, r.archive.EveryFlight))
}

func resultsOf(list []Summary, err error) ([]flight.Result, error) {
	out := make([]flight.Result, 0, len(list))
	for _, s := range list {
		out = append(out, s.Result)
	}
	return out, err
}

// Result is Flight without its course, which is quick where a summary is kept.
func (r *Results) Result(ctx context.Context, session, rocket string, n int) (flight.Result, error) {
	one := func(ctx context.Context, id string) ([]sqlite.FlightSpan, error) {
		all, err := r.archive.EveryFlight(ctx, id)
		return slices.DeleteFunc(all, func(f sqlite.FlightSpan) bool { return f.Rocket != rocket || f.Flight != n }), err
	}
	list, err := r.list(ctx, session, one)
	if err != nil {
		return flight.Result{}, err
	}
	if len(list) == 0 {
		return flight.Result{}, fmt.Errorf("flight %d of %s in session %s: %w", n, rocket, session, ErrNoFlight)
	}
	return list[0].Result, nil
}

// Flight works out one flight, void or not. The error wraps ErrNoFlight if there
// is none.
func (r *Results) Flight(ctx context.Context, session, rocket string, n int) (Flight, error) {
	f, err := r.worked(ctx, session, rocket, n, true)
	if err != nil {
		return f, err
	}
	voids, err := r.voids(ctx, session)
	if err != nil {
		return Flight{}, err
	}
	if why, void := voids[sqlite.FlightName{Rocket: rocket, Flight: n}]; void {
		f.Result.Judge(flight.Void, voidReason(why))
	}
	return f, nil
}

// voidReason is why a flight that a person took for none is void.
func voidReason(why string) phrase.Phrase {
	if why == "" {
		return phrase.Of("void-unsaid")
	}
	return phrase.Of("void", phrase.Word("why", why))
}

// worked is a flight as the samples have it, with its course if that is wanted.
func (r *Results) worked(ctx context.Context, session, rocket string, n int, course bool) (Flight, error) {
	s, err := r.archive.Session(ctx, session)
	if err != nil {
		return Flight{}, err
	}
	q := storage.Query{Session: session, Rocket: rocket, Flight: n, Margin: margin}
	events, err := r.archive.Events(ctx, q)
	if err != nil {
		return Flight{}, err
	}
	if len(events) == 0 {
		return Flight{}, fmt.Errorf("flight %d of %s in session %s: %w", n, rocket, session, ErrNoFlight)
	}
	alarms, err := r.archive.Alarms(ctx, q)
	if err != nil {
		return Flight{}, err
	}
	said, err := r.corrections(ctx, session)
	if err != nil {
		return Flight{}, err
	}
	k := key{session, rocket, n}
	r.mu.Lock()
	old, ok := r.known[k]
	r.mu.Unlock()
	if ok && old.settled && (!course || !old.bare) && old.events == len(events) && old.alarms == len(alarms) && old.shift == s.Shift && old.said == said {
		return old.flight, nil
	}
	f, err := r.compute(ctx, s, q, events, alarms)
	if err != nil {
		return Flight{}, fmt.Errorf("flight %d of %s in session %s: %w", n, rocket, session, err)
	}
	if n := r.count.Add(1); r.tell != nil {
		r.tell(n)
	}
	r.keep(k, kept{f, len(events), len(alarms), s.Shift, said, landed(events) || !s.Ended.IsZero(), !s.Ended.IsZero(), false})
	return f, nil
}

// corrections tells apart what people have said of a session's flights.
func (r *Results) corrections(ctx context.Context, session string) (string, error) {
	log, err := r.archive.Corrections(ctx, session)
	said := ""
	for _, c := range log {
		if !c.Undone {
			said += fmt.Sprint(c.ID, " ")
		}
	}
	return said, err
}

func landed(events []flight.Event) bool {
	for _, e := range events {
		// The rest on the ground belongs to the flight too: only when it has
		// been heard for a while is nothing more to come.
		if e.Kind == flight.Touchdown && time.Since(e.At) > 2*margin {
			return true
		}
	}
	return false
}

func (r *Results) keep(k key, v kept) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.known[k] = v
	r.whole = append(slices.DeleteFunc(r.whole, func(o key) bool { return o == k }), k)
	if len(r.whole) <= keepMost {
		return
	}
	oldest := r.whole[0]
	r.whole = r.whole[1:]
	if old := r.known[oldest]; old.over {
		delete(r.known, oldest)
	} else {
		old.flight.Series, old.flight.Track, old.bare = smooth.Series{}, ground.Track{}, true
		r.known[oldest] = old
	}
}

// sounded is a flight of which only the sounder has told, if it is one.
func sounded(s storage.Session, q storage.Query, events []flight.Event) (f Flight, is bool) {
	for i := range events {
		switch e := &events[i]; e.Kind {
		case flight.Sounded:
			f.Result = flight.Result{Session: s.ID, Rocket: q.Rocket, Flight: q.Flight, ApogeeM: e.AltitudeM, ApogeeSD: e.AltitudeSD, Alarms: []string{}}
			f.Result.Judge(flight.Good, phrase.Of("sounder-only", phrase.Word("note", e.Note)))
			is = true
		case flight.Liftoff:
			return Flight{}, false
		}
	}
	return f, is
}

func (r *Results) compute(ctx context.Context, s storage.Session, q storage.Query, events []flight.Event, alarms []flight.Alarm) (Flight, error) {
	if f, is := sounded(s, q, events); is {
		return f, nil
	}
	var samples []decode.Sample
	merger := decode.NewMerger()
	var pair track.Barometers
	err := r.archive.Samples(ctx, q, func(m *decode.Sample) error {
		// What two links heard counts once.
		if one, first := merger.Add(*m); first {
			pair.Fuse(&one)
			samples = append(samples, one)
		}
		return nil
	})
	if err != nil {
		return Flight{}, err
	}
	if s.Site, err = r.siteOf(ctx, s, samples); err != nil {
		return Flight{}, err
	}
	cfg := smooth.Config{Session: s.ID, Rocket: rocketOf(s, q.Rocket), Site: s.Site}
	res, series, err := smooth.Analyse(cfg, samples, events, alarms)
	if errors.Is(err, smooth.ErrNoFlight) {
		// The events say that it flew, the samples are not enough to work it
		// out: what is known is still shown.
		res.Session, res.Rocket, res.Flight = s.ID, q.Rocket, q.Flight
		res.Judge(flight.Look, phrase.Of("too-few"))
		return Flight{Result: res, CellV: cellAtRest(samples, events)}, nil
	}
	if err != nil {
		return Flight{}, err
	}
	res.Session, res.Rocket, res.Flight = s.ID, q.Rocket, q.Flight
	if s.Ended.IsZero() && inTheAir(samples, events) {
		res.Judge(flight.Look, phrase.Of("in-the-air"))
	}
	out := Flight{Result: res, Series: series, CellV: cellAtRest(samples, events)}
	out.Track, out.Result.Landing = ground.Trace(cfg.Rocket, s.Site, samples, &out.Result, heights(series))
	return out, nil
}

// The supply is at rest between these times before the liftoff.
const restFrom, restUntil = 10 * time.Second, time.Second

// cellAtRest is the median of the supply in V before the liftoff, nil if it was not
// sent.
func cellAtRest(samples []decode.Sample, events []flight.Event) *float64 {
	i := slices.IndexFunc(events, func(e flight.Event) bool { return e.Kind == flight.Liftoff })
	if i < 0 {
		return nil
	}
	var cell []float64
	for _, s := range samples {
		if before := events[i].At.Sub(s.At); before >= restUntil && before <= restFrom {
			if v, ok := s.Values.Get(decode.CellV); ok {
				cell = append(cell, v)
			}
		}
	}
	if len(cell) == 0 {
		return nil
	}
	slices.Sort(cell)
	return &cell[len(cell)/2]
}

// receiverBefore is how long before a flight the station's own receiver is asked where
// it is.
const receiverBefore = 5 * time.Minute

// siteOf is the session's site, with its place by the station's own receiver if that
// has to tell it.
func (r *Results) siteOf(ctx context.Context, s storage.Session, samples []decode.Sample) (flight.Site, error) {
	site := s.Site
	if site.Receiver == "" || site.LatitudeDeg != nil || len(samples) == 0 {
		return site, nil
	}
	var own ground.Receiver
	first, last := samples[0].At, samples[len(samples)-1].At
	q := storage.Query{Session: s.ID, Rocket: flight.ReceiverName, From: first.Add(-receiverBefore), To: last.Add(1)}
	err := r.archive.Samples(ctx, q, func(m *decode.Sample) error {
		if one, ok := own.Take(m, site); ok {
			site = one
		}
		return nil
	})
	return site, err
}

// heights looks the course of a flight up by time.
func heights(s smooth.Series) ground.Height {
	return func(at time.Time) (heightM, sinkMps float64) {
		t := at.Sub(s.Start).Seconds()
		i := sort.SearchFloat64s(s.T, t)
		switch {
		case i < len(s.T) && (s.T[i] == t || i > 0 && s.T[i]-t <= t-s.T[i-1]):
			return s.Height[i], -s.Speed[i]
		case i > 0:
			return s.Height[i-1], -s.Speed[i-1]
		}
		return math.NaN(), math.NaN()
	}
}

// inTheAir says whether a flight of a running session is under way: it has not
// touched down and was heard a moment ago. A rocket that fell silent is not.
func inTheAir(samples []decode.Sample, events []flight.Event) bool {
	for _, e := range events {
		if e.Kind == flight.Touchdown {
			return false
		}
	}
	return len(samples) > 0 && time.Since(samples[len(samples)-1].Heard) < silence
}

func rocketOf(s storage.Session, name string) flight.Rocket {
	r, _ := flight.RocketNamed(s.Rockets, name)
	return r
}
