package alarm

import (
	"fmt"
	"math"
	"sort"
	"time"

	"padlark/decode"
	"padlark/flight"
)

// maxRockets bounds the memory of a Book: a board that nobody configured and
// that comes after so many others is not watched.
const maxRockets = 256

// Config is what a Book is told once.
type Config struct {
	Session    string
	Site       flight.Site
	Rockets    []flight.Rocket
	Thresholds Thresholds
}

// Book holds the alarms of one session. It is not safe for concurrent use.
type Book struct {
	cfg     Config
	off     map[string]bool
	entries map[string]*entry
	order   []*entry // by name, so that ticks go round in a fixed order
	base    time.Time
	now     time.Time
	unheard int // boards beyond maxRockets
	out     []flight.Alarm
}

// entry is what the Book keeps of one rocket.
type entry struct {
	name  string
	rules []rule
	live  []slot // one per rule
	view  view
	pad   padStats
	link  linkStats
	// tellsRelease: the board has sent a release channel.
	tellsRelease bool
}

// slot is the present alarm of one rule, if any, and how many there were.
type slot struct {
	count int
	open  bool
	flight.Alarm
}

// New makes a Book. It refuses thresholds and rockets that contradict
// themselves, naming the field and the mend.
func New(cfg Config) (*Book, error) {
	if err := cfg.Thresholds.Validate(); err != nil {
		return nil, fmt.Errorf("read alarm thresholds: %w", err)
	}
	b := &Book{cfg: cfg, entries: map[string]*entry{}, off: map[string]bool{}}
	for _, k := range cfg.Thresholds.Off {
		b.off[k] = true
	}
	for _, r := range cfg.Rockets {
		if err := CheckRocket(r); err != nil {
			return nil, err
		}
		if b.entries[r.Name] != nil {
			return nil, fmt.Errorf("rocket %q is configured twice; rename one", r.Name)
		}
		b.add(r, true)
	}
	return b, nil
}

// add starts watching a rocket.
func (b *Book) add(r flight.Rocket, known bool) *entry {
	e := &entry{name: r.Name, rules: newRules()}
	e.live = make([]slot, len(e.rules))
	nan := math.NaN()
	e.view = view{
		rocket: r, known: known, site: b.cfg.Site, limits: b.cfg.Thresholds.limitsFor(r.Kind),
		supply: supplyOf(r.Cell), state: noState(), flown: noFlight(),
		heard: nan, first: nan, prior: nan, book: b, self: e,
	}
	b.entries[r.Name] = e
	b.order = append(b.order, e)
	sort.Slice(b.order, func(i, j int) bool { return b.order[i].name < b.order[j].name })
	return e
}

// Sample takes one decoded sample with what the tracker made of it, and gives
// the alarms that changed, most urgent first. The slice is valid until the
// next call. st and ev stay the caller's.
func (b *Book) Sample(s *decode.Sample, st *flight.State, ev []flight.Event) []flight.Alarm {
	b.out = b.out[:0]
	e := b.entries[s.Rocket]
	if e == nil {
		if len(b.order) >= maxRockets {
			b.unheard++
			return nil
		}
		e = b.add(flight.Rocket{Name: s.Rocket}, false)
	}
	b.advance(s.Heard)
	v := &e.view
	v.t, v.now, v.s, v.fresh = b.seconds(b.now), b.now, s, true
	v.prior, v.heard = v.heard, v.t
	if math.IsNaN(v.first) {
		v.first = v.t
	}
	b.note(e, st, ev)
	if _, ok := s.Values.Get(decode.ReleaseUs); ok {
		e.tellsRelease = true
	} else if _, ok := s.Values.Get(decode.ReleaseOn); ok {
		e.tellsRelease = true
	}
	e.pad.add(v)
	e.link.add(v)
	b.run(e)
	v.s, v.fresh = nil, false
	return b.out
}

// Note takes what a tracker found at a tick, when there is no sample to go
// with it: call it before Tick. The alarms that follow come out of Tick.
func (b *Book) Note(st *flight.State, ev []flight.Event) {
	if e := b.entries[st.Rocket]; e != nil && !b.base.IsZero() {
		b.note(e, st, ev)
	}
}

// note keeps the tracked state and the moments of the flight.
func (b *Book) note(e *entry, st *flight.State, ev []flight.Event) {
	v := &e.view
	if st != nil {
		v.state.flatten(st)
	}
	for i := range ev {
		at := b.seconds(ev[i].At)
		switch ev[i].Kind {
		case flight.Liftoff:
			v.flown = noFlight()
			v.liftoffAt = at
		case flight.Burnout:
			v.burnoutAt = at
		case flight.Apogee:
			v.apogeeAt, v.apogeeM, v.apogeeSD = at, value(ev[i].AltitudeM), value(ev[i].AtSD)
		case flight.Withdrawn:
			nan := math.NaN()
			v.apogeeAt, v.apogeeM, v.apogeeSD = nan, nan, nan
			if !e.tellsRelease {
				v.releaseAt = nan
			}
		case flight.Release:
			v.releaseAt = at
		case flight.Touchdown:
			v.touchdownAt = at
		}
	}
	if v.speed > v.climbed && v.climbing() {
		v.climbed = v.speed
	}
}

// Tick lets the rules notice silence and the passing of time at every rocket.
// The slice is valid until the next call.
func (b *Book) Tick(now time.Time) []flight.Alarm {
	b.out = b.out[:0]
	b.advance(now)
	for _, e := range b.order {
		if math.IsNaN(e.view.first) {
			continue // never heard
		}
		e.view.t, e.view.now = b.seconds(b.now), b.now
		b.run(e)
	}
	return b.out
}

// advance moves the book's clock; it never goes back, for samples of two
// links may arrive a little out of order.
func (b *Book) advance(to time.Time) {
	if b.base.IsZero() {
		b.base = to
	}
	if to.After(b.now) {
		b.now = to
	}
}

func (b *Book) seconds(t time.Time) float64 { return t.Sub(b.base).Seconds() }

// run asks each rule of a rocket and moves its alarm through the life cycle.
func (b *Book) run(e *entry) {
	v := &e.view
	for i, r := range e.rules {
		if len(b.off) > 0 && b.off[kinds[i].Kind] {
			continue
		}
		switch r.check(v) {
		case on:
			if s := &e.live[i]; !s.Active {
				b.raise(e, i, r.words(v))
			} else if b.isDue(s) {
				b.renew(s, r.words(v))
			}
		case off:
			if s := &e.live[i]; s.Active {
				s.Active = false
				b.changed(s)
				s.open = !s.Acked
			}
		}
	}
}

// isDue says whether the words of an active alarm are to be told anew: those that
// call for eyes each second, later less often.
func (b *Book) isDue(s *slot) bool {
	if s.Priority != prioLookUp {
		return false
	}
	age := b.now.Sub(s.RaisedAt).Seconds()
	return b.now.Sub(s.ChangedAt).Seconds() >= math.Max(renewS, age/5)
}

// renewS is how often the words of an alarm are renewed at first, in s.
const renewS = 1.0

// renew tells an active alarm with the numbers of now. It is no new alarm: when it
// was raised and whether it was acknowledged stay.
func (b *Book) renew(s *slot, w words) {
	if w.say == s.Say && w.reason == s.Reason {
		return
	}
	s.Priority, s.Say, s.Reason = w.priority, w.say, w.reason
	b.changed(s)
}

// raise opens an alarm, or raises one again that had returned to normal
// without being acknowledged.
func (b *Book) raise(e *entry, i int, w words) {
	s := &e.live[i]
	if !s.open {
		s.count++
		s.open = true
		s.Alarm = flight.Alarm{
			Session: b.cfg.Session, ID: fmt.Sprintf("%s/%s/%d", e.name, kinds[i].Kind, s.count),
			Rocket: e.name, Kind: kinds[i].Kind,
		}
	}
	v := &e.view
	if v.inFlight() || v.phase == flight.Landed {
		s.Flight = v.flight
	}
	if kinds[i].Where == "link" {
		s.Link = v.link
	}
	s.Active, s.Acked = true, false
	s.RaisedAt = b.now
	s.Priority, s.Say, s.Reason = w.priority, w.say, w.reason
	b.changed(s)
}

func (b *Book) changed(s *slot) {
	s.Change++
	s.ChangedAt = b.now
	b.out = append(b.out, s.Alarm)
}

// Ack acknowledges one alarm by its ID at a time of the session. It gives the
// change, or nothing when no such alarm is open or it was acknowledged before.
// The slice is valid until the next call.
func (b *Book) Ack(id string, now time.Time) []flight.Alarm {
	b.out = b.out[:0]
	b.advance(now)
	for _, e := range b.order {
		for i := range e.live {
			s := &e.live[i]
			if !s.open || s.ID != id || s.Acked {
				continue
			}
			s.Acked = true
			s.open = s.Active
			b.changed(s)
			return b.out
		}
	}
	return b.out
}

// Open lists the alarms that are active or not acknowledged yet: most urgent
// first, then the newest. The caller owns the slice.
func (b *Book) Open() []flight.Alarm {
	var out []flight.Alarm
	for _, e := range b.order {
		for i := range e.live {
			if e.live[i].open {
				out = append(out, e.live[i].Alarm)
			}
		}
	}
	sort.SliceStable(out, func(i, j int) bool {
		a, c := out[i], out[j]
		if a.Active != c.Active {
			return a.Active
		}
		if a.Priority != c.Priority {
			return a.Priority < c.Priority
		}
		return a.RaisedAt.After(c.RaisedAt)
	})
	return out
}

// Restore brings back what an archive knows after a restart: the last change
// of each alarm of this session. Replay the session's samples and ticks
// first; Restore then lays the acknowledgements over the alarms that came out,
// and opens those that the replay did not reach.
func (b *Book) Restore(last []flight.Alarm) {
	for _, a := range last {
		e, i := b.entries[a.Rocket], kindIndex(a.Kind)
		if i < 0 {
			continue // of another part of the program
		}
		if e == nil {
			if len(b.order) >= maxRockets {
				continue
			}
			e = b.add(flight.Rocket{Name: a.Rocket}, false)
		}
		s := &e.live[i]
		switch {
		case s.ID == a.ID:
			if a.Change >= s.Change {
				s.Acked, s.Change = s.Acked || a.Acked, a.Change
			}
		case number(a.ID) > s.count:
			s.count = number(a.ID)
			s.Alarm = a
		}
		s.open = s.ID != "" && (s.Active || !s.Acked)
	}
}

// kindIndex is the place of a kind in kinds, -1 if there is none.
func kindIndex(name string) int {
	for i, k := range kinds {
		if k.Kind == name {
			return i
		}
	}
	return -1
}

// number is the running number at the end of an alarm's ID, 0 if it has none.
func number(id string) int {
	n, scale := 0, 1
	for i := len(id) - 1; i >= 0 && id[i] >= '0' && id[i] <= '9' && scale < 1e9; i-- {
		n += int(id[i]-'0') * scale
		scale *= 10
	}
	return n
}
