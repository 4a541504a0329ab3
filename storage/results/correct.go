package results

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/track"
	"padlark/storage"
	"padlark/storage/sqlite"
)

// ErrCannotCorrect is returned when flights cannot be corrected as a person says.
// The message says why, and what could be said instead.
var ErrCannotCorrect = errors.New("cannot correct")

func cannot(format string, args ...any) error {
	return fmt.Errorf("%w: %s", ErrCannotCorrect, fmt.Sprintf(format, args...))
}

// settled is after how long without a frame a session that has no end counts as
// over: longer than a station goes on with one that was cut off.
const settledAfter = time.Hour

// bench is a session whose flights are being corrected.
type bench struct {
	r     *Results
	s     storage.Session
	spans []sqlite.FlightSpan // by liftoff
	log   []sqlite.Correction
}

func (r *Results) bench(ctx context.Context, session string) (*bench, error) {
	s, err := r.archive.Session(ctx, session)
	if err != nil {
		return nil, err
	}
	if s.Ended.IsZero() {
		last, err := r.archive.Last(ctx, session)
		if err != nil {
			return nil, err
		}
		if heard := s.Epoch.Add(time.Duration(last.Passed)); time.Since(heard) < settledAfter {
			return nil, cannot("session %s is still being recorded: stop the station first, or come back in the evening", session)
		}
	}
	spans, err := r.archive.EveryFlight(ctx, session)
	if err != nil {
		return nil, err
	}
	log, err := r.archive.Corrections(ctx, session)
	return &bench{r, s, spans, log}, err
}

// find is a flight that counts.
func (b *bench) find(n sqlite.FlightName) (sqlite.FlightSpan, error) {
	for _, f := range b.spans {
		if f.Rocket == n.Rocket && f.Flight == n.Flight {
			switch {
			case f.Void:
				return f, cannot("%v is void: count it again first", n)
			case f.Liftoff == nil:
				return f, cannot("%v has no liftoff", n)
			}
			return f, nil
		}
	}
	return sqlite.FlightSpan{}, fmt.Errorf("%v in session %s: %w", n, b.s.ID, ErrNoFlight)
}

// corrected is a flight as it is now, to be changed: with its events, and the
// stretch up to half way to its neighbours that is its own.
func (b *bench) corrected(ctx context.Context, f sqlite.FlightSpan) (sqlite.CorrectedFlight, error) {
	ns := func(t time.Time) int64 { return t.Sub(b.s.Epoch).Nanoseconds() }
	end := func(g sqlite.FlightSpan) int64 {
		if g.Touchdown != nil {
			return ns(*g.Touchdown)
		}
		return ns(*g.Liftoff)
	}
	out := sqlite.CorrectedFlight{FlightName: sqlite.FlightName{Rocket: f.Rocket, Flight: f.Flight}, HeardAs: f.HeardAs,
		From: math.MinInt64 >> 1, To: math.MaxInt64 >> 1, PadPressurePa: f.PadPressurePa}
	for _, g := range b.spans {
		if g.HeardAs != f.HeardAs || g.Liftoff == nil || g.Rocket == f.Rocket && g.Flight == f.Flight {
			continue
		}
		if g.Liftoff.Before(*f.Liftoff) {
			out.From = max(out.From, end(g)/2+ns(*f.Liftoff)/2)
		} else {
			out.To = min(out.To, end(f)/2+ns(*g.Liftoff)/2)
		}
	}
	for _, c := range b.log { // a cut that a person made stays where it is
		for _, g := range c.Now {
			if !c.Undone && g.FlightName == out.FlightName {
				out.From, out.To = g.From, g.To
			}
		}
	}
	events, err := b.r.archive.Events(ctx, storage.Query{Session: b.s.ID, Rocket: f.Rocket, Flight: f.Flight, Recorded: true})
	out.Events = events
	return out, err
}

// free is a number that no flight of the rocket has or had: the wanted one if it
// is free. What was said of a flight is found by its number.
func (b *bench) free(rocket string, wanted int) int {
	taken := map[int]bool{}
	for _, f := range b.spans {
		if f.Rocket == rocket || f.HeardAs == rocket {
			taken[f.Flight] = true
		}
	}
	for _, c := range b.log {
		for _, n := range c.Was {
			taken[n.Flight] = taken[n.Flight] || n.Rocket == rocket
		}
		for _, n := range c.Now {
			taken[n.Flight] = taken[n.Flight] || n.Rocket == rocket
		}
	}
	n := wanted
	for taken[n] {
		n++
	}
	return n
}

func (b *bench) keep(ctx context.Context, kind string, was []sqlite.FlightName, now []sqlite.CorrectedFlight, made ...flight.Rocket) error {
	for i := range now {
		for k := range now[i].Events {
			e := &now[i].Events[k]
			e.Rocket, e.Flight = now[i].Rocket, now[i].Flight
		}
	}
	at := time.Now().UTC().Add(-b.s.Shift)
	return b.r.archive.Correct(ctx, sqlite.Correction{Session: b.s.ID, Kind: kind, At: at, Was: was, Now: now, Made: made})
}

// Join makes one flight of two that follow each other, under the number of the
// first: a landing was called that was none.
func (r *Results) Join(ctx context.Context, session string, first, second sqlite.FlightName) error {
	b, err := r.bench(ctx, session)
	if err != nil {
		return err
	}
	f, err := b.find(first)
	if err != nil {
		return err
	}
	g, err := b.find(second)
	if err != nil {
		return err
	}
	if f.Rocket != g.Rocket || f.HeardAs != g.HeardAs || first == second {
		return cannot("%v and %v are not two flights of one rocket", first, second)
	}
	if g.Liftoff.Before(*f.Liftoff) {
		f, g, first, second = g, f, second, first
	}
	for _, other := range b.spans {
		if other.HeardAs == f.HeardAs && other.Liftoff != nil && other.Liftoff.After(*f.Liftoff) && other.Liftoff.Before(*g.Liftoff) {
			return cannot("between %v and %v there is %s-%d: join the first two, then the rest", first, second, other.Rocket, other.Flight)
		}
	}
	one, err := b.corrected(ctx, f)
	if err != nil {
		return err
	}
	two, err := b.corrected(ctx, g)
	if err != nil {
		return err
	}
	one.To, one.Events = two.To, joined(one.Events, two.Events)
	return b.keep(ctx, "join", []sqlite.FlightName{first, second}, []sqlite.CorrectedFlight{one})
}

// joined are the events of one flight of which two were made: how the first
// began, how the second ended, and the higher of the two tops with what followed.
func joined(first, second []flight.Event) []flight.Event {
	all := slices.Concat(first, second)
	slices.SortStableFunc(all, func(x, y flight.Event) int { return x.At.Compare(y.At) })
	pick := map[flight.Kind]int{}
	top := func(i int) float64 {
		if all[i].AltitudeM == nil {
			return math.Inf(-1)
		}
		return *all[i].AltitudeM
	}
	for i, e := range all {
		old, have := pick[e.Kind]
		if !have || e.Kind == flight.Touchdown || e.Kind == flight.Apogee && top(i) > top(old) {
			pick[e.Kind] = i
		}
	}
	// A release that was called before the top belongs to the top that was none.
	if a, ok := pick[flight.Apogee]; ok {
		for i, e := range all {
			if old := pick[flight.Release]; e.Kind == flight.Release && i > a && old < a {
				pick[flight.Release] = i
			}
		}
	}
	var out []flight.Event
	for i, e := range all {
		if pick[e.Kind] == i {
			out = append(out, e)
		}
	}
	slices.SortStableFunc(out, func(x, y flight.Event) int { return x.CalledAt.Compare(y.CalledAt) })
	return out
}

// Split makes two flights of one, cut atS seconds after its liftoff: a landing
// was not seen. Both are looked at anew; the second gets a number of its own,
// which is returned.
func (r *Results) Split(ctx context.Context, session string, n sqlite.FlightName, atS float64) (second sqlite.FlightName, err error) {
	b, err := r.bench(ctx, session)
	if err != nil {
		return second, err
	}
	f, err := b.find(n)
	if err != nil {
		return second, err
	}
	one, err := b.corrected(ctx, f)
	if err != nil {
		return second, err
	}
	const day = 86400
	if !(atS > 0 && atS < day) { // NaN too
		return second, cannot("give the seconds after liftoff at which %v lay on the ground, between its two flights", n)
	}
	cut := f.Liftoff.Add(time.Duration(atS * float64(time.Second)))
	two := one
	two.From = cut.Sub(b.s.Epoch).Nanoseconds()
	two.FlightName = sqlite.FlightName{Rocket: n.Rocket, Flight: b.free(n.Rocket, n.Flight+1)}
	old := one.Events
	if one.Events, _, _, err = b.look(ctx, f, time.Time{}, cut); err != nil {
		return second, err
	}
	if one.To = two.From; len(one.Events) == 0 { // as it was called live, then
		one.Events = slices.DeleteFunc(slices.Clone(old), func(e flight.Event) bool { return e.At.After(cut) })
	}
	begins := 0.0
	if two.Events, two.PadPressurePa, begins, err = b.look(ctx, f, cut, time.Time{}); err != nil {
		return second, err
	}
	if p := two.PadPressurePa; p != nil && math.Abs(begins-*p) > groundPa {
		return second, cannot("%.1f s after its liftoff %v was in the air: choose a moment at which it lay on the ground", atS, n)
	}
	if len(two.Events) == 0 {
		return second, cannot("nothing of %v lifts off after %.1f s: choose a moment at which it lay on the ground, some seconds before its second liftoff", n, atS)
	}
	return two.FlightName, b.keep(ctx, "split", []sqlite.FlightName{n}, []sqlite.CorrectedFlight{one, two})
}

// groundPa is by how much the pressure on the ground may differ between a landing
// and the next liftoff: some 8 m, as on a slope or in changing weather.
const groundPa = 100

// look finds the events of the first flight in a part of a flight's samples, the
// mean pressure before its liftoff and that of the part's first second.
func (b *bench) look(ctx context.Context, f sqlite.FlightSpan, from, to time.Time) (events []flight.Event, pad *float64, begins float64, err error) {
	const before, after = 12 * time.Second, 2 * time.Second // as FlightSpan.PadPressurePa
	t := track.New(track.Config{Session: b.s.ID, Rocket: rocketOf(b.s, f.Rocket), Site: b.s.Site})
	merger := decode.NewMerger()
	type reading struct {
		at time.Time
		pa float64
	}
	var rest []reading
	q := storage.Query{Session: b.s.ID, Rocket: f.Rocket, Flight: f.Flight, Margin: margin, From: from, To: to.Add(1), Recorded: true}
	err = b.r.archive.Samples(ctx, q, func(m *decode.Sample) error {
		if one, first := merger.Add(*m); first {
			events = append(events, t.Sample(&one)...)
			if pa, ok := one.Values.Get(decode.PressurePa); ok {
				rest = append(rest, reading{one.At, pa})
			}
		}
		return nil
	})
	var n float64
	for _, r := range rest {
		if r.at.Sub(rest[0].at) <= time.Second {
			begins, n = begins+r.pa, n+1
		}
	}
	begins /= max(1, n)
	first := 0
	for _, e := range events {
		if e.Kind == flight.Liftoff && first == 0 {
			first = e.Flight
			sum, n := 0.0, 0
			for _, r := range rest {
				if d := e.At.Sub(r.at); d >= after && d <= before {
					sum, n = sum+r.pa, n+1
				}
			}
			if mean := sum / float64(n); n > 0 {
				pad = &mean
			}
		}
	}
	return slices.DeleteFunc(events, func(e flight.Event) bool { return first == 0 || e.Flight != first }), pad, begins, err
}

// Rename says that flights were another rocket's: one flight, or with number 0
// all of the session that bear the name. It returns their new names.
func (r *Results) Rename(ctx context.Context, session string, n sqlite.FlightName, to string) ([]sqlite.FlightName, error) {
	b, err := r.bench(ctx, session)
	if err != nil {
		return nil, err
	}
	if to == n.Rocket {
		return nil, cannot("it is %s already", to)
	}
	var was, names []sqlite.FlightName
	var now []sqlite.CorrectedFlight
	for _, f := range b.spans {
		one := sqlite.FlightName{Rocket: f.Rocket, Flight: f.Flight}
		if f.Rocket != n.Rocket || n.Flight != 0 && n.Flight != f.Flight || n.Flight == 0 && (f.Void || f.Liftoff == nil) {
			continue
		}
		if f, err = b.find(one); err != nil {
			return nil, err
		}
		c, err := b.corrected(ctx, f)
		if err != nil {
			return nil, err
		}
		c.FlightName = sqlite.FlightName{Rocket: to, Flight: b.free(to, f.Flight)}
		was, now, names = append(was, one), append(now, c), append(names, c.FlightName)
		b.spans = append(slices.Clone(b.spans), sqlite.FlightSpan{Rocket: to, Flight: c.Flight, HeardAs: to}) // its number is taken now
	}
	if len(now) == 0 {
		return nil, fmt.Errorf("%s in session %s: %w", n.Rocket, session, ErrNoFlight)
	}
	var made []flight.Rocket
	if _, known := flight.RocketNamed(b.s.Rockets, to); !known {
		like := rocketOf(b.s, n.Rocket)
		like.Name = to
		made = append(made, like)
	}
	return names, b.keep(ctx, "rename", was, now, made...)
}

// Undo takes back the newest correction that made or changed a flight. It returns
// the flights that there are again.
func (r *Results) Undo(ctx context.Context, session string, n sqlite.FlightName) ([]sqlite.FlightName, error) {
	b, err := r.bench(ctx, session)
	if err != nil {
		return nil, err
	}
	for i, c := range slices.Backward(b.log) {
		if c.Undone || !slices.ContainsFunc(c.Now, func(f sqlite.CorrectedFlight) bool { return f.FlightName == n }) {
			continue
		}
		for _, f := range c.Now {
			if slices.ContainsFunc(b.spans, func(g sqlite.FlightSpan) bool { return g.Void && g.Rocket == f.Rocket && g.Flight == f.Flight }) {
				return nil, cannot("%v is void: count it again first", f.FlightName)
			}
			for _, later := range b.log[i+1:] {
				if !later.Undone && slices.Contains(later.Was, f.FlightName) {
					return nil, cannot("%v was corrected again later: undo that first", f.FlightName)
				}
			}
		}
		return c.Was, r.archive.UndoCorrection(ctx, session, c.ID)
	}
	return nil, cannot("nobody has corrected %v", n)
}
