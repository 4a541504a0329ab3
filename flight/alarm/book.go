package alarm

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"time"

	"padlark/decode"
	"padlark/flight"
)

// maxGuests bounds the memory of a Book: a board that nobody configured and that
// comes after so many others is not watched, unless one is forgotten for it.
const maxGuests = decode.MaxGuests

// Config is what a Book is told once.
type Config struct {
	Session    string
	Site       flight.Site
	Rockets    []flight.Rocket
	Thresholds Thresholds
	// FallsAFalse: of so many falls under a parachute that opens as the rule knows it
	// one may be called ballistic; 0 for 300.
	FallsAFalse float64
}

// Book holds the alarms of one session. It is not safe for concurrent use.
type Book struct {
	cfg     Config
	off     map[string]bool
	entries map[string]*entry
	order   []*entry // by name, so that ticks go round in a fixed order
	base    time.Time
	now     time.Time
	known   int // rockets that are configured
	guests  int // rockets that are not
	unheard int // boards beyond maxGuests
	alarms  Register
}

// entry is what the Book keeps of one rocket.
type entry struct {
	name  string
	rules []rule
	live  []*slot // one per rule
	view  view
	pad   padStats
	link  linkStats
	boot  uint32 // the highest so far: two boards with one id have two in turn
	// besideAt is when another sender under its id was heard last, s; NaN if never.
	besideAt float64
	// tellsRelease: the board has sent a release channel.
	tellsRelease bool
}

// New makes a Book. It refuses thresholds and rockets that contradict
// themselves, naming the field and the mend.
func New(cfg Config) (*Book, error) {
	if err := cfg.Thresholds.Validate(); err != nil {
		return nil, fmt.Errorf("read alarm thresholds: %w", err)
	}
	b := &Book{cfg: cfg, entries: map[string]*entry{}, off: map[string]bool{}, alarms: Register{session: cfg.Session}}
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
		b.known++
	}
	return b, nil
}

// add starts watching a rocket.
func (b *Book) add(r flight.Rocket, known bool) *entry {
	e := &entry{name: r.Name, rules: newRules(), besideAt: math.NaN()}
	if !known {
		b.guests++
	}
	e.live = b.alarms.add(r.Name, ruleKinds())
	nan := math.NaN()
	e.view = view{
		rocket: r, known: known, site: b.cfg.Site, limits: b.cfg.Thresholds.limitsFor(r.Kind),
		supply: supplyOf(r.Cell), state: noState(), flown: noFlight(),
		heard: nan, first: nan, prior: nan, anew: nan, book: b, self: e,
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
	b.alarms.begin()
	e := b.entries[s.Rocket]
	if e == nil {
		r, known := flight.RocketNamed(b.cfg.Rockets, s.Rocket)
		if !known && b.guests >= maxGuests {
			b.unheard++
			return nil
		}
		e = b.add(r, known)
	}
	b.advance(s.Heard)
	if base, n := decode.SenderOf(s.Rocket); n > 1 {
		b.Beside(base, s.Heard)
	}
	v := &e.view
	v.t, v.now, v.s, v.fresh = b.seconds(b.now), b.now, s, true
	v.prior, v.heard = v.heard, v.t
	if math.IsNaN(v.first) {
		v.first = v.t
		e.boot = s.Boot
	}
	if on := !v.inFlight() && (s.Boot > e.boot || v.t-v.prior > relearnS); on || math.IsNaN(v.anew) {
		v.anew = v.t
	}
	e.boot = max(e.boot, s.Boot)
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
	return b.alarms.out
}

// SetSite is for a site whose place becomes known later.
func (b *Book) SetSite(s flight.Site) {
	b.cfg.Site = s
	for _, e := range b.order {
		e.view.site = s
	}
}

// Watch starts watching a rocket that is configured elsewhere.
func (b *Book) Watch(r flight.Rocket) {
	if b.entries[r.Name] == nil {
		b.add(r, true)
	}
}

// Beside notes that another sender under a rocket's id was heard.
func (b *Book) Beside(rocket string, heard time.Time) {
	if e := b.entries[rocket]; e != nil && !b.base.IsZero() {
		e.besideAt = b.seconds(heard)
	}
}

// Forget stops watching a rocket that nobody configured: its alarms are over, and
// nobody has to acknowledge them. The slice is valid until the next call.
func (b *Book) Forget(rocket string, now time.Time) []flight.Alarm {
	b.alarms.begin()
	e := b.entries[rocket]
	if e == nil || e.view.known {
		return nil
	}
	b.advance(now)
	b.alarms.forget(rocket, b.now)
	delete(b.entries, rocket)
	b.order = slices.DeleteFunc(b.order, func(x *entry) bool { return x == e })
	b.guests--
	return b.alarms.out
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
			v.apogeeAt, v.apogeeM, v.apogeeSD, v.calledAt = at, value(ev[i].AltitudeM), value(ev[i].AtSD), b.seconds(b.now)
		case flight.Withdrawn:
			nan := math.NaN()
			v.apogeeAt, v.apogeeM, v.apogeeSD, v.calledAt = nan, nan, nan, nan
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
	b.alarms.begin()
	b.advance(now)
	for _, e := range b.order {
		if math.IsNaN(e.view.first) {
			continue // never heard
		}
		e.view.t, e.view.now = b.seconds(b.now), b.now
		b.run(e)
	}
	return b.alarms.out
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
			if s := e.live[i]; !s.Active {
				b.raise(e, i, r.words(v))
			} else if b.isDue(s) {
				b.alarms.renew(s, r.words(v), b.now)
			}
		case off:
			if s := e.live[i]; s.Active {
				b.alarms.clear(s, b.now)
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

// raise raises an alarm about the flight, and of the link, that the rocket is at.
func (b *Book) raise(e *entry, i int, w words) {
	s, v := e.live[i], &e.view
	if !s.open {
		s.Flight, s.Link = 0, ""
	}
	if v.inFlight() || v.phase == flight.Landed {
		s.Flight = v.flight
	}
	if kinds[i].Where == "link" {
		s.Link = v.link
	}
	b.alarms.raise(s, w, b.now)
}

// Ack acknowledges one alarm, as Register.Ack.
func (b *Book) Ack(id string, now time.Time) []flight.Alarm {
	b.advance(now)
	return b.alarms.Ack(id, b.now)
}

// Open lists the open alarms, as Register.Open.
func (b *Book) Open() []flight.Alarm { return b.alarms.Open() }

// Restore brings back what a journal knows after a restart, as Register.Restore.
// Give the Book the session's samples and ticks first.
func (b *Book) Restore(newest []flight.Alarm) {
	for _, a := range newest {
		if b.entries[a.Rocket] != nil || kindIndex(a.Kind) < 0 {
			continue
		}
		if r, known := flight.RocketNamed(b.cfg.Rockets, a.Rocket); known || b.guests < maxGuests {
			b.add(r, known)
		}
	}
	b.alarms.Restore(newest)
}

// kindIndex is the place of a kind in kinds, -1 if there is none.
func kindIndex(name string) int {
	return slices.IndexFunc(kinds, func(k kind) bool { return k.Kind == name })
}
