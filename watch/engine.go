package watch

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/alarm"
	"padlark/flight/ground"
	"padlark/flight/phrase"
	"padlark/flight/track"
)

// TickEvery is how often the engine looks at the clock, in session time: a
// silence can be noticed this quickly, and a tick stands at each multiple of it
// since the session's epoch.
const TickEvery = 200 * time.Millisecond

// How long ticks go on after the newest sample. Beyond that nothing is left that
// silence could bring about, so the ticks of a longer one are passed over: a
// board's clock that leaps by a year, or a night without a frame, costs no more
// than some minutes. It depends on the samples alone, so it is the same in a replay.
const (
	restAfter   = 10 * time.Minute // on the ground, and twice the longest silence of the thresholds
	flyingAfter = 12 * time.Hour   // while one is counted as flying: its landing is concluded sooner
)

// Config is what an Engine needs to know.
type Config struct {
	Session    string
	Epoch      time.Time
	Rockets    []flight.Rocket
	Site       flight.Site
	Thresholds alarm.Thresholds
}

// Output is what one sample or one advance of time brought about. The slices
// are the receiver's to keep.
type Output struct {
	Events []flight.Event
	Alarms []flight.Alarm
	// Sender is whose state a sample changed, if not that of its own rocket:
	// another sender under the rocket's id.
	Sender string
}

func (o *Output) add(p Output) {
	o.Events = append(o.Events, p.Events...)
	o.Alarms = append(o.Alarms, p.Alarms...)
}

// Engine follows every rocket of one session. It is not safe for concurrent use.
type Engine struct {
	cfg      Config
	trackers map[string]*track.Tracker
	names    []string // sorted: ticks visit the rockets in one order
	book     *alarm.Book
	merger   *decode.Merger
	ways     *ways
	guests   *decode.Guests // rockets that nobody configured
	one      decode.Sample  // the sample at hand, as the merger has it
	ticked   int64          // the newest tick handled or passed over, as a multiple of TickEvery
	passed   int64          // Passed of the newest sample handled
	rest     int64          // see restOf
	plan     []Change       // that are still to come
	own      ground.Receiver
	placed   bool // the configuration says where the site is
}

// NewEngine makes an engine that has seen nothing yet. The error is about
// thresholds or rockets that contradict themselves.
func NewEngine(cfg Config) (*Engine, error) {
	book, err := alarm.New(alarm.Config{
		Session: cfg.Session, Site: cfg.Site, Rockets: cfg.Rockets, Thresholds: cfg.Thresholds,
	})
	if err != nil {
		return nil, fmt.Errorf("make alarm rules: %w", err)
	}
	ways, err := newWays(cfg)
	if err != nil {
		return nil, err
	}
	return &Engine{cfg: cfg, trackers: map[string]*track.Tracker{}, book: book, merger: decode.NewMerger(),
		ways: ways, guests: decode.NewGuests(decode.MaxGuests), rest: restOf(cfg.Thresholds), placed: cfg.Site.LatitudeDeg != nil}, nil
}

// Sample handles one sample and, before it, every tick that was due.
func (e *Engine) Sample(s *decode.Sample) Output {
	out := e.Advance(s.Passed)
	e.passed = s.Passed
	e.one = *s // the caller's stays as it is
	one := &e.one
	if one.Rocket == flight.ReceiverName && e.cfg.Site.Receiver != "" {
		e.locate(one)
		return out
	}
	if !e.follows(one, &out) {
		return out
	}
	if _, beeped := one.Values.Get(decode.SounderM); beeped {
		// It says nothing of now: no phase, no alarm, no silence follows from it.
		out.Events = append(out.Events, e.tracker(one.Rocket).Sounder(one)...)
		return out
	}
	other, name, taken := e.ways.take(one)
	out.add(other)
	if out.Sender = name; name != "" {
		e.book.Beside(one.Rocket, one.Heard)
	}
	if taken {
		return out
	}
	if !e.merger.Take(one) {
		// The same message by a second receiver: already seen.
		return out
	}
	t := e.tracker(one.Rocket)
	t.Fuse(one)
	// The tracker's slice lives until its next call; the alarms need it now.
	events := t.Sample(one)
	out.Events = append(out.Events, events...)
	out.Alarms = append(out.Alarms, e.book.Sample(one, t.State(), events)...)
	return out
}

// locate takes where the station is from its own receiver.
func (e *Engine) locate(s *decode.Sample) {
	if e.placed {
		return
	}
	site, ok := e.own.Take(s, e.cfg.Site)
	if !ok {
		return
	}
	e.cfg.Site = site
	for _, name := range e.names {
		e.trackers[name].SetSite(site)
	}
	e.book.SetSite(site)
	e.ways.setSite(site)
}

// Advance handles every tick up to mono, in ns since the session's epoch, that
// can still bring something about.
func (e *Engine) Advance(mono int64) Output {
	var out Output
	for len(e.plan) > 0 && e.plan[0].At <= mono {
		c := e.plan[0]
		e.plan = e.plan[1:]
		changed, _ := e.Reconfigure(c.At, c.Config) // Plan has seen that it can be
		out.add(changed)
	}
	out.add(e.advance(mono))
	return out
}

func (e *Engine) advance(mono int64) Output {
	var out Output
	for due := mono / int64(TickEvery); e.ticked < due; {
		if e.atRest() {
			e.ticked = due
			break
		}
		e.ticked++
		out.add(e.tick(e.cfg.Epoch.Add(time.Duration(e.ticked) * TickEvery)))
	}
	return out
}

// atRest says whether so long nothing was heard that time alone changes nothing.
func (e *Engine) atRest() bool {
	quiet := e.ticked*int64(TickEvery) - e.passed
	if quiet < e.rest {
		return false
	}
	for _, name := range e.names {
		switch e.trackers[name].State().Phase {
		case flight.Boost, flight.Coast, flight.Descent:
			return quiet >= int64(flyingAfter)
		}
	}
	return true
}

// restOf is how long after the newest sample ticks are needed, in ns: a
// silence may be configured to be an alarm only after hours.
func restOf(t alarm.Thresholds) int64 {
	rest := restAfter.Seconds()
	for _, l := range []alarm.Limits{t.Water, t.Solid} {
		for _, s := range []float64{l.SilentPadS, l.SilentFlightS, l.RestS, l.ServoOffS, l.DumpWaitS} {
			rest = max(rest, 2*s)
		}
	}
	return int64(min(rest*1e9, math.MaxInt64/2))
}

func (e *Engine) tick(now time.Time) Output {
	var out Output
	for _, name := range e.names {
		t := e.trackers[name]
		events := t.Tick(now)
		out.Events = append(out.Events, events...)
		if len(events) > 0 {
			e.book.Note(t.State(), events)
		}
	}
	out.Alarms = append(out.Alarms, e.book.Tick(now)...)
	out.add(e.ways.tick(now))
	return out
}

func (e *Engine) tracker(rocket string) *track.Tracker {
	if t, ok := e.trackers[rocket]; ok {
		return t
	}
	t := track.New(track.Config{Session: e.cfg.Session, Rocket: e.rocket(rocket), Site: e.cfg.Site})
	e.trackers[rocket] = t
	e.names = append(e.names, rocket)
	sort.Strings(e.names)
	return t
}

// rocket is the configured rocket of that name, or a bare one for a board that
// nobody configured.
func (e *Engine) rocket(name string) flight.Rocket {
	r, _ := flight.RocketNamed(e.cfg.Rockets, name)
	return r
}

// follows says whether a sample's rocket is followed. Configured ones always are;
// of others so many, and one that is forgotten takes its alarms with it.
func (e *Engine) follows(s *decode.Sample, out *Output) bool {
	if _, known := flight.RocketNamed(e.cfg.Rockets, s.Rocket); known {
		return true
	}
	gone, ok := e.guests.Admit(s.Rocket, s.Passed)
	if gone != "" {
		delete(e.trackers, gone)
		e.names = slices.DeleteFunc(e.names, func(n string) bool { return n == gone })
		e.merger.Forget(gone)
		out.Alarms = append(out.Alarms, e.book.Forget(gone, s.Heard)...)
	}
	return ok
}

// Ack acknowledges an alarm on behalf of a person, at an event time.
func (e *Engine) Ack(id string, at time.Time) []flight.Alarm {
	if changed := e.book.Ack(id, at); len(changed) > 0 {
		return changed
	}
	return e.ways.book.Ack(id, at)
}

// Passed tells how far the engine has come, in ns since the session's epoch.
func (e *Engine) Passed() int64 { return e.passed }

// Ticked tells the time of the newest tick handled, in ns since the epoch.
func (e *Engine) Ticked() int64 { return e.ticked * int64(TickEvery) }

// live is what is known of a rocket, without go / not yet, and the rules that know
// that; nil if it was never heard. It is the tracker's: use it before the next call.
func (e *Engine) live(rocket string) (*flight.State, *alarm.Book) {
	if t, ok := e.trackers[rocket]; ok {
		return t.State(), e.book
	}
	if w := e.ways.byName[rocket]; w != nil && w.apart {
		return w.tracker.State(), e.ways.book
	}
	return nil, nil
}

// State returns a copy of what is known of a rocket, with go / not yet filled
// in; ok is false if it was never heard. The pointers inside are the tracker's:
// use them before the next call or marshal at once.
func (e *Engine) State(rocket string) (st flight.State, ok bool) {
	now, book := e.live(rocket)
	if now == nil {
		return flight.State{}, false
	}
	st = *now
	st.NotYetPhrases = book.NotYet(rocket)
	st.NotYet = make([]string, len(st.NotYetPhrases))
	for i, p := range st.NotYetPhrases {
		st.NotYet[i] = phrase.Reader{}.Write(p, "")
	}
	st.Go = len(st.NotYet) == 0
	return st, true
}

// Rockets lists every rocket heard so far, sorted by name, those of other senders
// after them.
func (e *Engine) Rockets() []string {
	names := slices.Clip(e.names)
	for _, w := range e.ways.order {
		if w.apart {
			names = append(names, w.name)
		}
	}
	return names
}

// Restore lays what people did with alarms before an interruption over what
// the recorded samples brought about again. last holds the newest change of
// each alarm of the session.
func (e *Engine) Restore(last []flight.Alarm) {
	var own, others []flight.Alarm
	for _, a := range last {
		if e.ways.byName[a.Rocket] != nil {
			others = append(others, a)
		} else {
			own = append(own, a)
		}
	}
	e.book.Restore(own)
	e.ways.book.Restore(others)
}
