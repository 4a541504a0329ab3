package watch

import (
	"fmt"
	"math"
	"slices"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/alarm"
	"padlark/flight/track"
)

// Several receivers hear one board, and the first copy of each message is as
// good as any. But copies under the same numbers that say different things are
// not of one board: somebody else sends them, and who is first would hide the
// other. So each further way on which a rocket's messages come has an estimator
// and alarm rules of its own, fed with its copies from the first one on. They are
// silent while the copies agree, which is nearly always. When they do not, the
// way becomes a sender with a name of its own, as "Teal (north)": its flight is
// seen and its alarms are raised as well as those of the first way.
//
// A second copy on the same link is a way too.

const (
	maxWays     = 4
	waysRing    = 64   // messages remembered for each rocket
	differM     = 5.0  // m: relays and layouts round by less
	grosslyM    = 50.0 // m: no reading away from the last one
	differScore = 3
	homeFresh   = 300 * time.Millisecond
	pascalPerM  = 12.0 // near the ground, to the accuracy that matters here
)

// ways follows all rockets that are configured.
type ways struct {
	cfg     Config
	rockets map[string]*waysOf
	book    *alarm.Book // of the ways beside the first of each rocket
	byName  map[string]*way
	order   []*way // as they were found: ticks visit them in one order
}

// waysOf are the ways of one rocket; the first is the one heard first.
type waysOf struct {
	rocket flight.Rocket
	by     string // the channel that copies are compared by: the first that told height
	list   []*way
	ring   [waysRing]wayMessage
	next   int
}

// way is one stream of copies.
type way struct {
	name    string // of the sender, once it is one
	link    string
	copy    int // 0: the first copy on the link, 1: the second
	apart   bool
	score   int
	lastM   float64
	lastAt  time.Time
	tracker *track.Tracker // nil for the first way: the engine's own follows it
}

// wayMessage is one message, and the heights that each way's copy told.
type wayMessage struct {
	used       bool
	boot       uint32
	seq, clock int64
	heights    [maxWays]float64 // m, NaN where no copy came or it told none
	came       [maxWays]bool
}

func newWays(cfg Config) (*ways, error) {
	th := cfg.Thresholds
	book, err := alarm.New(alarm.Config{Session: cfg.Session, Site: cfg.Site, Thresholds: th})
	if err != nil {
		return nil, fmt.Errorf("make alarm rules: %w", err)
	}
	return &ways{cfg: cfg, rockets: map[string]*waysOf{}, book: book, byName: map[string]*way{}}, nil
}

// reconfigure is as that of the Engine.
func (ws *ways) reconfigure(cfg Config, now time.Time) ([]flight.Alarm, error) {
	rockets := map[string]flight.Rocket{} // by the name of the way
	var gone []string
	for name, r := range ws.rockets {
		one, known := flight.RocketNamed(cfg.Rockets, name)
		for _, w := range r.list {
			switch {
			case w.tracker == nil:
			case known:
				one.Name = w.name
				rockets[w.name] = one
				w.tracker.Reconfigure(one, cfg.Site)
			default:
				gone = append(gone, w.name)
			}
		}
		if one.Name = name; known {
			r.rocket = one
		} else {
			delete(ws.rockets, name)
		}
	}
	ws.cfg = cfg
	changed, err := ws.book.Reconfigure(alarm.Config{Session: cfg.Session, Site: cfg.Site, Thresholds: cfg.Thresholds},
		func(name string) (flight.Rocket, bool) { r, known := rockets[name]; return r, known })
	slices.Sort(gone)
	for _, name := range gone {
		changed = append(changed, ws.book.Forget(name, now)...)
	}
	out := ws.flights(changed)
	for _, name := range gone {
		delete(ws.byName, name)
		ws.order = slices.DeleteFunc(ws.order, func(w *way) bool { return w.name == name })
	}
	return out, err
}

func (ws *ways) setSite(s flight.Site) {
	ws.cfg.Site = s
	ws.book.SetSite(s)
	for _, w := range ws.order {
		w.tracker.SetSite(s)
	}
}

// take follows a sample on its way. taken says that it is of another sender than
// the rocket's first, or does not agree with that one: the engine's own estimator
// must not have it. name is the sender's, if it has become one.
func (ws *ways) take(s *decode.Sample) (out Output, name string, taken bool) {
	if s.Seq < 0 && s.Clock < 0 {
		return out, "", false // nothing tells a copy from another message
	}
	r := ws.rockets[s.Rocket]
	if r == nil {
		cfg, known := flight.RocketNamed(ws.cfg.Rockets, s.Rocket)
		if !known {
			return out, "", false
		}
		r = &waysOf{rocket: cfg}
		ws.rockets[s.Rocket] = r
	}
	m := r.message(s)
	k := ws.pick(r, m, s)
	if k < 0 {
		return out, "", false
	}
	w, home := r.list[k], r.list[0]
	m.came[k], m.heights[k] = true, r.heightIn(s)
	for i, v := range r.list {
		if i > 0 && (i == k || k == 0) && m.came[i] && m.came[0] {
			v.judge(math.Abs(m.heights[i] - m.heights[0]))
			if !v.apart && v.score >= differScore {
				v.apart = true
				out.add(ws.catchUp(v))
			}
		}
	}
	odd := k > 0 && !m.came[0] && s.Heard.Sub(home.lastAt) < homeFresh && math.Abs(m.heights[k]-home.lastM) > grosslyM
	if !math.IsNaN(m.heights[k]) {
		w.lastM, w.lastAt = m.heights[k], s.Heard
	}
	if k == 0 {
		return out, "", false
	}
	fed := ws.feed(w, s)
	if w.apart {
		out.add(fed)
		return out, w.name, true
	}
	return out, "", odd
}

// message finds the sample's message or begins it.
func (r *waysOf) message(s *decode.Sample) *wayMessage {
	clock := s.Clock
	if s.Seq >= 0 {
		clock = 0 // two boards that count alike have clocks that differ a little
	}
	for i := range r.ring {
		if m := &r.ring[i]; m.used && m.boot == s.Boot && m.seq == s.Seq && m.clock == clock {
			return m
		}
	}
	m := &r.ring[r.next]
	r.next = (r.next + 1) % waysRing
	*m = wayMessage{used: true, boot: s.Boot, seq: s.Seq, clock: clock}
	for i := range m.heights {
		m.heights[i] = math.NaN()
	}
	return m
}

// pick finds the way of a copy, -1 if there are too many. Where two on one link
// are known to be two senders, what a copy says decides between them; who comes
// first may change.
func (ws *ways) pick(r *waysOf, m *wayMessage, s *decode.Sample) int {
	first, second := r.find(s.Link, 0), r.find(s.Link, 1)
	switch {
	case first < 0:
		return ws.add(r, s.Link, 0)
	case second >= 0 && (r.list[second].apart || r.list[first].apart) && !m.came[first] && !m.came[second]:
		h := r.heightIn(s)
		if math.Abs(h-r.list[second].lastM) < math.Abs(h-r.list[first].lastM) {
			return second
		}
		return first
	case !m.came[first]:
		return first
	case second < 0:
		return ws.add(r, s.Link, 1)
	}
	return second
}

func (r *waysOf) find(link string, copy int) int {
	for i, w := range r.list {
		if w.link == link && w.copy == copy {
			return i
		}
	}
	return -1
}

func (ws *ways) add(r *waysOf, link string, copy int) int {
	if len(r.list) == maxWays {
		return -1
	}
	w := &way{link: link, copy: copy, lastM: math.NaN()}
	if len(r.list) > 0 {
		w.name = r.rocket.Name + " (" + link + ")"
		if copy > 0 {
			w.name = r.rocket.Name + " (second on " + link + ")"
		}
		cfg := r.rocket
		cfg.Name = w.name
		w.tracker = track.New(track.Config{Session: ws.cfg.Session, Rocket: cfg, Site: ws.cfg.Site})
		ws.book.Watch(cfg)
		ws.byName[w.name] = w
		ws.order = append(ws.order, w)
	}
	r.list = append(r.list, w)
	return len(r.list) - 1
}

// judge counts whether the way's copies agree with those of the first.
func (w *way) judge(apartM float64) {
	switch {
	case apartM > grosslyM:
		w.score += differScore
	case apartM > differM:
		w.score++
	case apartM <= differM && w.score > 0: // not if it is NaN
		w.score--
	}
	w.score = min(w.score, 2*differScore)
}

// feed gives a copy to the way's own estimator and rules.
func (ws *ways) feed(w *way, s *decode.Sample) Output {
	c := *s
	c.Rocket = w.name
	events := w.tracker.Sample(&c)
	return Output{
		Events: append([]flight.Event(nil), events...),
		Alarms: ws.flights(ws.book.Sample(&c, w.tracker.State(), events)),
	}
}

// flights are the alarms about flights among some: those of the pad and the link
// the first way tells.
func (ws *ways) flights(all []flight.Alarm) []flight.Alarm {
	var out []flight.Alarm
	for _, a := range all {
		if w := ws.byName[a.Rocket]; w != nil && w.apart && alarm.InFlight(a.Kind) {
			out = append(out, a)
		}
	}
	return out
}

// catchUp tells what stands when a way becomes a sender.
func (ws *ways) catchUp(w *way) Output {
	var out Output
	for _, a := range ws.book.Open() {
		if a.Rocket == w.name && a.Active && alarm.InFlight(a.Kind) {
			out.Alarms = append(out.Alarms, a)
		}
	}
	return out
}

// tick lets time pass.
func (ws *ways) tick(now time.Time) Output {
	var out Output
	if len(ws.order) == 0 {
		return out
	}
	for _, w := range ws.order {
		events := w.tracker.Tick(now)
		if len(events) > 0 {
			ws.book.Note(w.tracker.State(), events)
		}
		if w.apart {
			out.Events = append(out.Events, events...)
		}
	}
	out.Alarms = ws.flights(ws.book.Tick(now))
	return out
}

// heightIn is what a sample tells of height, in m on a scale of its own, or NaN.
// A way that tells another channel than the others cannot be compared with them.
func (r *waysOf) heightIn(s *decode.Sample) float64 {
	channel, scale := decode.PressurePa, -1/pascalPerM
	v, ok := s.Values.Get(channel)
	if !ok {
		channel, scale = decode.AltitudeM, 1
		v, ok = s.Values.Get(channel)
	}
	if ok && r.by == "" {
		r.by = channel
	}
	if !ok || r.by != channel {
		return math.NaN()
	}
	return v * scale
}
