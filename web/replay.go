package web

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"sync/atomic"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/storage"
	"padlark/watch"
)

// Bounds of a replay.
const (
	maxReplays  = 8
	maxSpeed    = 64
	replayStep  = 50 * time.Millisecond // the picture moves on this often
	replayPiece = time.Hour             // event time between two looks whether anybody is there
	replayBatch = 10 * time.Second      // event time read from the archive at once
	// warmUp is how much of the session before the wanted instant is run
	// through the machine, so that it knows the pad's pressure and the alarms.
	warmUp = 10 * time.Minute
	// beforeLiftoff is how long before a liftoff a warm-up must begin at least.
	beforeLiftoff = time.Minute
)

// replayView tells a page what it is looking at.
type replayView struct {
	Session string    `json:"session"`
	Speed   float64   `json:"speed"`
	From    time.Time `json:"from"` // the session's epoch
	To      time.Time `json:"to"`   // the last frame heard
	At      time.Time `json:"at"`   // where this stream begins
}

// serveReplay streams a recorded session through the same machine that watches
// it live, from at_s seconds after its epoch, at a multiple of real time. A
// seek is a new request: nothing is kept between two of them.
func (s *Server) serveReplay(w http.ResponseWriter, r *http.Request) error {
	if s.opt.NewMachine == nil {
		return absent("replay")
	}
	one, err := s.session(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	at, err := floatParam(r, "at_s", 0)
	if err != nil {
		return err
	}
	speed, err := replaySpeed(r)
	if err != nil {
		return err
	}
	as, _ := s.gate.who(r)
	leave, err := s.replays.enter(shareOf(r), as, addressOf(r.RemoteAddr))
	if err != nil {
		return err
	}
	defer leave()

	// The pacer lives as long as this request: it is awaited below.
	ctx, cancel := context.WithCancel(r.Context())
	defer cancel()
	p, err := s.newPlayer(ctx, one, at, speed)
	if err != nil {
		return err
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		p.run(ctx, s.stopping)
	}()
	err = s.stream(w, r, feed{hub: p.hub, now: p.now, done: done, hello: helloView{
		Station: one.Station, Session: one.ID, Version: s.opt.Version,
		Replay: &replayView{Session: one.ID, Speed: speed, From: one.Epoch, To: p.end, At: p.now()},
	}})
	cancel()
	<-done
	return errors.Join(err, p.failure(s))
}

func replaySpeed(r *http.Request) (float64, error) {
	v := r.URL.Query().Get("speed")
	if v == "" {
		return 1, nil
	}
	f, err := strconv.ParseFloat(v, 64)
	if err != nil || !(f >= 0 && f <= maxSpeed) {
		return 0, badRequest("speed", v, fmt.Sprintf("give a number from 0 (stand still) to %d", maxSpeed))
	}
	return f, nil
}

// player runs a machine over a session and fills a hub of its own.
type player struct {
	archive Archive
	machine *watch.Engine
	hub     *hub
	session Session
	end     time.Time // last frame heard
	speed   float64
	passed  atomic.Int64    // how far the picture has come, ns since the epoch
	void    map[string]bool // flights that a person took for none, by rocket~number: not shown
	flights map[string]int  // flights before the warm-up: the machine counts from there
	ahead   []*decode.Sample
	passing int64 // how far the machine is
	read    int64 // samples with Passed below this are in ahead or behind us
	err     error
}

// newPlayer makes a player that stands at at_s with its picture ready.
func (s *Server) newPlayer(ctx context.Context, one Session, atS, speed float64) (*player, error) {
	m, err := s.opt.NewMachine(ctx, one)
	if err != nil {
		return nil, fmt.Errorf("prepare replay of %s: %w", one.ID, err)
	}
	p := &player{archive: s.opt.Archive, machine: m, hub: newHub(s.configured.Load().rockets), session: one, speed: speed, end: one.Epoch, flights: map[string]int{}, void: map[string]bool{}}
	void, err := s.voidFlights(ctx, one.ID)
	if err != nil {
		return nil, err
	}
	for _, r := range void {
		p.void[flightName(r.Rocket, r.Flight)] = true
	}
	if one.Last != nil {
		p.end = *one.Last
	}
	length := p.end.Sub(one.Epoch)
	at := min(max(0, time.Duration(atS*float64(time.Second))), length)
	start, err := p.warmStart(ctx, at)
	if err != nil {
		return nil, err
	}
	p.read = int64(start)
	// The last two minutes go in small steps, so that the traces are there.
	for t := max(start, at-keepTrace*traceEvery); t < at; t += traceEvery {
		if err := p.advance(ctx, int64(t)); err != nil {
			return nil, err
		}
	}
	if err := p.advance(ctx, int64(at)); err != nil {
		return nil, err
	}
	return p, nil
}

// warmStart picks where the machine begins: early enough that no flight is cut.
func (p *player) warmStart(ctx context.Context, at time.Duration) (time.Duration, error) {
	start := at - warmUp
	if start <= 0 {
		return 0, nil
	}
	events, err := p.archive.Events(ctx, storage.Query{Session: p.session.ID})
	if err != nil {
		return 0, fmt.Errorf("read events for the replay: %w", err)
	}
	landed := map[string]time.Duration{} // touchdown of each flight
	name := func(e flight.Event) string { return flightName(e.Rocket, e.Flight) }
	for _, e := range events {
		if e.Kind == flight.Touchdown {
			landed[name(e)] = e.CalledAt.Sub(p.session.Epoch)
		}
	}
	liftoffs := slices.DeleteFunc(slices.Clone(events), func(e flight.Event) bool { return e.Kind != flight.Liftoff })
	slices.SortFunc(liftoffs, func(a, b flight.Event) int { return b.At.Compare(a.At) }) // latest first
	for _, e := range liftoffs {
		lift := e.At.Sub(p.session.Epoch) - beforeLiftoff
		if down, ok := landed[name(e)]; lift < start && (!ok || down > start) {
			start = lift
		}
	}
	start = max(0, start)
	for _, e := range liftoffs {
		if e.At.Sub(p.session.Epoch) < start {
			p.flights[e.Rocket]++
		}
	}
	return start, nil
}

func flightName(rocket string, n int) string { return rocket + "~" + strconv.Itoa(n) }

// now is the event time of the picture.
func (p *player) now() time.Time { return p.session.Epoch.Add(time.Duration(p.passed.Load())) }

// run moves the picture on until the session's end, the context's or stop.
func (p *player) run(ctx context.Context, stop <-chan struct{}) {
	if p.speed == 0 {
		select {
		case <-ctx.Done():
		case <-stop:
		}
		return
	}
	tick := time.NewTicker(replayStep)
	defer tick.Stop()
	begin, from := time.Now(), p.passed.Load()
	end := int64(p.end.Sub(p.session.Epoch)) + int64(time.Second)
	for p.passed.Load() < end {
		select {
		case <-tick.C:
		case <-ctx.Done():
			return
		case <-stop:
			return
		}
		to := from + int64(float64(time.Since(begin))*p.speed)
		if p.err = p.advance(ctx, min(to, end)); p.err != nil {
			return
		}
	}
}

// failure tells what ended the replay early, unless it was the viewer.
func (p *player) failure(s *Server) error {
	if p.err == nil || errors.Is(p.err, context.Canceled) {
		return nil
	}
	s.opt.Log.Error().Err(p.err).Str("session", p.session.ID).Msg("replay")
	return p.err
}

// advance runs the machine up to `to` and shows what came of it.
func (p *player) advance(ctx context.Context, to int64) error {
	for {
		i := 0
		for ; i < len(p.ahead) && p.ahead[i].Passed <= to; i++ {
			if err := p.pass(ctx, p.ahead[i].Passed); err != nil {
				return err
			}
			p.take(p.machine.Sample(p.ahead[i]))
		}
		p.ahead = p.ahead[i:]
		if len(p.ahead) > 0 || p.read > to {
			break
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		p.overGap()
		if err := p.fetch(ctx); err != nil {
			return err
		}
	}
	if err := p.pass(ctx, to); err != nil {
		return err
	}
	p.passed.Store(to)
	for _, name := range p.machine.Rockets() {
		if st, ok := p.machine.State(name); ok {
			p.show(st)
		}
	}
	return nil
}

// overGap goes on where something was heard again, if nothing was here: a session
// may pause for a day, or its clock leap by years.
func (p *player) overGap() {
	for _, g := range p.session.Gaps {
		// A frame passes a little later than it is heard.
		from, to := g.From.Sub(p.session.Epoch)+replayBatch, g.To.Sub(p.session.Epoch)-time.Second
		if p.read > int64(from) && p.read < int64(to) {
			p.read = int64(to)
			return
		}
	}
}

// pass lets event time go by in pieces: a session may say that it lasted for
// centuries, and whoever watches may have gone long before they are over.
func (p *player) pass(ctx context.Context, to int64) error {
	for p.passing < to {
		if err := ctx.Err(); err != nil {
			return fmt.Errorf("replay: %w", err)
		}
		p.passing = min(to, p.passing+int64(replayPiece))
		p.take(p.machine.Advance(p.passing))
	}
	return nil
}

// fetch reads the next stretch of samples. It is read whole, so that no read
// of the archive stays open while a person watches.
func (p *player) fetch(ctx context.Context) error {
	q := storage.Query{Session: p.session.ID, FromPassed: p.read, ToPassed: p.read + int64(replayBatch)}
	p.ahead = p.ahead[:0]
	err := p.archive.Samples(ctx, q, func(s *decode.Sample) error {
		p.ahead = append(p.ahead, s)
		return nil
	})
	if err != nil {
		return fmt.Errorf("read samples for the replay: %w", err)
	}
	slices.SortStableFunc(p.ahead, func(x, y *decode.Sample) int { return cmp.Compare(x.Passed, y.Passed) })
	p.read = q.ToPassed
	return nil
}

func (p *player) take(out watch.Output) {
	for _, e := range out.Events {
		if e.Flight > 0 {
			e.Flight += p.flights[e.Rocket]
			if p.void[flightName(e.Rocket, e.Flight)] {
				continue
			}
		}
		p.hub.apply(Message{Event: &e})
	}
	for _, a := range out.Alarms {
		if a.Flight > 0 {
			a.Flight += p.flights[a.Rocket]
			if p.void[flightName(a.Rocket, a.Flight)] {
				continue
			}
		}
		p.hub.apply(Message{Alarm: &a})
	}
}

// show puts a state into the picture when it has changed since the last time.
// The machine owns what the state points to, so the copy is made here.
func (p *player) show(st flight.State) {
	st.Flight += p.flights[st.Rocket]
	c := shortState(&st)
	p.hub.mu.Lock()
	e := p.hub.rockets[st.Rocket]
	same := e != nil && string(e.json) == string(encode(c))
	p.hub.mu.Unlock()
	if !same {
		p.hub.apply(Message{State: c})
	}
}
