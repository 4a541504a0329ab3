package web

import (
	"encoding/json"
	"sort"
	"sync"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/ingest"
)

// Sizes of the hub's rings. All of them drop the oldest.
const (
	keepEvents  = 256 // newest events of all rockets
	keepFrames  = 64  // newest frames of each link
	keepTrace   = 240 // points of each rocket's height trace
	traceEvery  = 500 * time.Millisecond
	keepAlarms  = 512 // alarms of configured rockets, links and the station
	guestAlarms = 64  // alarms of rockets that nobody configured
	// With more guests than showGuests beside configured rockets none is shown by
	// itself: one line tells how many there are on each link.
	showGuests = 8
)

// hub holds the newest picture. Each entry carries the version at which it last
// changed, so that a viewer finds what is new to it without a queue of its own.
// It is safe for concurrent use.
type hub struct {
	mu      sync.Mutex
	version uint64
	session string
	rockets map[string]*rocketEntry
	links   map[string]*linkEntry
	alarms  map[string]*alarmEntry
	events  []eventEntry // oldest first
	tally   hubTally

	configured []flight.Rocket
	guests     *decode.Guests // who is not; bounded, and forgotten by age
}

// hubTally counts what the hub took and what it had no room for.
type hubTally struct {
	States, Events, Alarms, Frames, Samples, NoRoom uint64
	// Unshown counts what could not be written as JSON and was left out.
	Unshown uint64
}

type rocketEntry struct {
	guest   bool
	version uint64
	state   *flight.State
	json    []byte
	brief   changing
	taken   time.Time // when the state came in: wall clock, for rates only
	trace   trace
}

type linkEntry struct {
	version uint64
	health  *ingest.Health
	json    []byte
	brief   changing
	frames  []frameEntry // oldest first, at most keepFrames
}

type frameEntry struct {
	version uint64
	frame   *ingest.Frame
	sample  *decode.Sample // nil until the decoder has spoken, or for ever
}

type alarmEntry struct {
	guest   bool
	version uint64
	alarm   *flight.Alarm
	json    []byte
}

type eventEntry struct {
	version uint64
	event   *flight.Event
	json    []byte
}

func newHub(configured []flight.Rocket) *hub {
	return &hub{
		configured: configured, guests: decode.NewGuests(decode.MaxGuests),
		rockets: map[string]*rocketEntry{},
		links:   map[string]*linkEntry{},
		alarms:  map[string]*alarmEntry{},
	}
}

// apply takes one message into the picture.
func (h *hub) apply(m Message) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.version++
	switch {
	case m.State != nil:
		h.applyState(m.State)
	case m.Alarm != nil:
		h.applyAlarm(m.Alarm)
	case m.Event != nil:
		h.applyEvent(m.Event)
	case m.Health != nil:
		if b, ok := h.encode(m.Health); ok {
			e := h.link(m.Health.Link)
			e.version, e.health, e.json = h.version, m.Health, b
		}
	case m.Frame != nil:
		h.applyFrame(m.Frame)
	case m.Sample != nil:
		h.applySample(m.Sample)
	}
}

// enter empties the picture when a new session begins.
func (h *hub) enter(session string) {
	if session == "" || session == h.session {
		return
	}
	if h.session != "" {
		h.rockets = map[string]*rocketEntry{}
		h.alarms = map[string]*alarmEntry{}
		h.events = nil
	}
	h.session = session
}

func (h *hub) applyState(s *flight.State) {
	h.tally.States++
	h.enter(s.Session)
	// Each by itself: one that cannot be written must not stop the others.
	b, ok := h.encode(shortState(s))
	if !ok {
		return
	}
	e := h.rockets[s.Rocket]
	guest := h.isGuest(s.Rocket)
	if guest {
		gone, ok := h.guests.Admit(s.Rocket, s.Heard.UnixNano())
		if !ok {
			h.tally.NoRoom++
			return
		}
		delete(h.rockets, gone)
	}
	if e == nil {
		e = &rocketEntry{guest: guest}
		h.rockets[s.Rocket] = e
	}
	e.version, e.state, e.taken = h.version, s, time.Now()
	e.json = b
	e.trace.add(s)
}

func (h *hub) applyAlarm(a *flight.Alarm) {
	h.tally.Alarms++
	b, ok := h.encode(a)
	if !ok {
		return
	}
	old := h.alarms[a.ID]
	if old != nil && old.alarm.Session == a.Session && old.alarm.Change > a.Change {
		return // a redelivery of an older change
	}
	one := &alarmEntry{version: h.version, alarm: a, json: b, guest: h.isGuest(a.Rocket)}
	if old == nil && !h.roomFor(one) {
		h.tally.NoRoom++
		return
	}
	h.alarms[a.ID] = one
}

// isGuest says whether a name is that of a rocket which nobody configured. Where
// no rocket is, all are alike.
func (h *hub) isGuest(rocket string) bool {
	_, known := flight.RocketNamed(h.configured, rocket)
	return rocket != "" && !known
}

// roomFor finds room for an alarm among its like: guests take none from others.
// What is least urgent gives way, if it is less urgent than the new one.
func (h *hub) roomFor(one *alarmEntry) bool {
	n, most := 0, keepAlarms
	if one.guest {
		most = guestAlarms
	}
	last := ""
	for id, e := range h.alarms {
		if e.guest != one.guest {
			continue
		}
		n++
		if last == "" || h.alarms[last].before(e) {
			last = id
		}
	}
	if n < most {
		return true
	}
	if !one.before(h.alarms[last]) {
		return false
	}
	if !h.alarms[last].alarm.Settled() {
		h.tally.NoRoom++
	}
	delete(h.alarms, last)
	return true
}

// before says whether an alarm stays rather than another: what is over and
// acknowledged goes first, then what is over, then the least urgent, then the
// oldest.
func (e *alarmEntry) before(o *alarmEntry) bool {
	rank := func(a *flight.Alarm) int {
		switch {
		case a.Active:
			return 0
		case !a.Acked:
			return 1
		}
		return 2
	}
	if a, b := rank(e.alarm), rank(o.alarm); a != b {
		return a < b
	}
	if e.alarm.Priority != o.alarm.Priority {
		return e.alarm.Priority < o.alarm.Priority
	}
	return e.version > o.version
}

// crowded says that there are too many guests to show each.
func (h *hub) crowded() bool {
	if len(h.configured) == 0 {
		return false
	}
	n := 0
	for _, e := range h.links {
		if e.health != nil {
			n += e.health.Guests
		}
	}
	if n > showGuests {
		return true
	}
	n = 0
	for _, e := range h.rockets {
		if e.guest {
			n++
		}
	}
	return n > showGuests
}

func (h *hub) applyEvent(ev *flight.Event) {
	h.tally.Events++
	b, ok := h.encode(ev)
	if !ok {
		return
	}
	for i := range h.events {
		if h.events[i].event.ID == ev.ID && h.events[i].event.Session == ev.Session {
			h.events[i] = eventEntry{h.version, ev, b}
			return
		}
	}
	h.events = append(h.events, eventEntry{h.version, ev, b})
	if len(h.events) > keepEvents {
		h.events = append(h.events[:0], h.events[len(h.events)-keepEvents:]...)
	}
}

func (h *hub) link(name string) *linkEntry {
	e := h.links[name]
	if e == nil {
		e = &linkEntry{}
		h.links[name] = e
	}
	return e
}

func (h *hub) applyFrame(f *ingest.Frame) {
	h.tally.Frames++
	e := h.link(f.Link)
	e.frames = append(e.frames, frameEntry{version: h.version, frame: f})
	if len(e.frames) > keepFrames {
		e.frames = append(e.frames[:0], e.frames[len(e.frames)-keepFrames:]...)
	}
}

func (h *hub) applySample(s *decode.Sample) {
	h.tally.Samples++
	frames := h.link(s.Link).frames
	for i := len(frames) - 1; i >= 0; i-- {
		if frames[i].frame.N == s.N && frames[i].frame.Session == s.Session {
			frames[i].sample, frames[i].version = s, h.version
			return
		}
	}
}

// picture is what changed since a version, as encoded JSON values.
type picture struct {
	version                       uint64
	states, alarms, events, links []json.RawMessage
	crowded                       bool
}

func (p *picture) empty() bool {
	return len(p.states)+len(p.alarms)+len(p.events)+len(p.links) == 0
}

// onlyStates says whether nothing in it is news that a person waits for.
func (p *picture) onlyStates() bool {
	return len(p.alarms)+len(p.events)+len(p.links) == 0
}

// since collects what changed after version `after`. The slices are the
// caller's; the bytes are shared and must not be written to.
func (h *hub) since(after uint64) picture {
	h.mu.Lock()
	defer h.mu.Unlock()
	p := picture{version: h.version, crowded: h.crowded()}
	if h.version == after {
		return p
	}
	for _, e := range h.rockets {
		if e.version > after && !(p.crowded && e.guest) {
			p.states = append(p.states, e.json)
		}
	}
	for _, e := range h.links {
		if e.version > after && e.health != nil {
			p.links = append(p.links, e.json)
		}
	}
	h.newsSince(after, &p)
	return p
}

// newsSince adds the alarms and events; the caller holds the lock.
func (h *hub) newsSince(after uint64, p *picture) {
	for _, e := range h.alarms {
		if e.version > after && !(p.crowded && e.guest) {
			p.alarms = append(p.alarms, e.json)
		}
	}
	for _, e := range h.events {
		if e.version > after {
			p.events = append(p.events, e.json)
		}
	}
}

// states lists the newest state of each rocket, sorted by name.
func (h *hub) states() []*flight.State {
	h.mu.Lock()
	defer h.mu.Unlock()
	out := make([]*flight.State, 0, len(h.rockets))
	for _, e := range h.rockets {
		out = append(out, e.state)
	}
	sort.Slice(out, func(i, k int) bool { return out[i].Rocket < out[k].Rocket })
	return out
}

// healths lists the newest health of each link, sorted by name.
func (h *hub) healths() []*ingest.Health {
	h.mu.Lock()
	defer h.mu.Unlock()
	out := make([]*ingest.Health, 0, len(h.links))
	for name, e := range h.links {
		if e.health != nil {
			out = append(out, e.health)
		} else {
			out = append(out, &ingest.Health{Link: name, State: "waiting", Words: "frames are heard, no report yet"})
		}
	}
	sort.Slice(out, func(i, k int) bool { return out[i].Link < out[k].Link })
	return out
}

// currentAlarms lists the alarms that a person still has to see: active, or
// cleared but not acknowledged. Those of configured rockets first, then the most
// urgent, then the newest.
func (h *hub) currentAlarms() []*flight.Alarm {
	h.mu.Lock()
	defer h.mu.Unlock()
	out := []*flight.Alarm{}
	guest := map[string]bool{}
	for _, e := range h.alarms {
		if !e.alarm.Settled() {
			out = append(out, e.alarm)
			guest[e.alarm.ID] = e.guest
		}
	}
	sort.Slice(out, func(i, k int) bool {
		if a, b := guest[out[i].ID], guest[out[k].ID]; a != b {
			return b // those of configured rockets first
		}
		if out[i].Priority != out[k].Priority {
			return out[i].Priority < out[k].Priority
		}
		if !out[i].RaisedAt.Equal(out[k].RaisedAt) {
			return out[i].RaisedAt.After(out[k].RaisedAt)
		}
		return out[i].ID < out[k].ID
	})
	return out
}

// alarm finds an alarm by its name; nil if there is none.
func (h *hub) alarm(id string) *flight.Alarm {
	h.mu.Lock()
	defer h.mu.Unlock()
	if e := h.alarms[id]; e != nil {
		return e.alarm
	}
	return nil
}

// framesSince copies a link's frames that came in or were decoded after a
// version, oldest first, and tells the present version.
func (h *hub) framesSince(link string, after uint64) ([]frameEntry, uint64) {
	h.mu.Lock()
	defer h.mu.Unlock()
	var out []frameEntry
	if e := h.links[link]; e != nil {
		for _, f := range e.frames {
			if f.version > after {
				out = append(out, f)
			}
		}
	}
	return out, h.version
}

// traces copies every rocket's height trace.
func (h *hub) traces() map[string]traceView {
	h.mu.Lock()
	defer h.mu.Unlock()
	out := make(map[string]traceView, len(h.rockets))
	for name, e := range h.rockets {
		out[name] = e.trace.view()
	}
	return out
}

// status is what /healthz and /metrics ask.
func (h *hub) status() (session string, tally hubTally, rockets int) {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.session, h.tally, len(h.rockets)
}

// encode writes one value for the picture; what cannot be written is counted.
func (h *hub) encode(v any) ([]byte, bool) {
	b, err := json.Marshal(v)
	if err != nil {
		h.tally.Unshown++
	}
	return b, err == nil
}

// eachJSON writes values one by one: one that cannot be written is left out and
// counted, and the others are there.
func eachJSON[T any](h *hub, values []T) []json.RawMessage {
	h.mu.Lock()
	defer h.mu.Unlock()
	out := make([]json.RawMessage, 0, len(values))
	for i := range values {
		if b, ok := h.encode(values[i]); ok {
			out = append(out, b)
		}
	}
	return out
}

// encode marshals one of our own types that has no value that could fail.
func encode(v any) []byte {
	b, err := json.Marshal(v)
	if err != nil {
		return []byte("null")
	}
	return b
}
