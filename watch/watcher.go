package watch

import (
	"context"
	"fmt"
	"sync"
	"time"

	"github.com/rs/zerolog"

	"padlark/bus"
	"padlark/flight"
)

// StateEvery is how often, in event time, a rocket's state is published to
// live viewers; a change of phase is published at once.
const StateEvery = 100 * time.Millisecond

// line is the part of the bus that the watcher needs.
type line interface {
	Consume(ctx context.Context, c bus.Consumer, handle func(context.Context, []bus.Msg) error) error
	Subscribe(kinds []bus.Kind, handle func(bus.Msg)) (stop func(), err error)
	PublishEvent(ctx context.Context, e flight.Event) error
	PublishAlarm(ctx context.Context, a flight.Alarm) error
	PublishState(st flight.State) error
}

// Watcher feeds an Engine from the bus and publishes what comes out.
type Watcher struct {
	// Tell, if set before Run, is called with everything that comes out, in
	// order, from one goroutine at a time, together with the state of the rocket
	// whose sample brought it about (nil at a tick). It must be quick.
	Tell func(st *flight.State, out Output)

	bus   line
	start uint64 // stream sequence from which samples are consumed
	log   zerolog.Logger

	mu      sync.Mutex
	engine  *Engine
	pending *bus.Tick        // the newest tick that waits for samples published before it
	shown   map[string]shown // what live viewers were told last
	moved   chan struct{}    // closed and replaced whenever the engine moves on
}

type shown struct {
	at    time.Time
	phase flight.Phase
}

// New makes a watcher for samples from stream sequence start on.
func New(b line, engine *Engine, start uint64, log zerolog.Logger) *Watcher {
	return &Watcher{bus: b, engine: engine, start: start, log: log, shown: map[string]shown{}, moved: make(chan struct{})}
}

// Run consumes samples and ticks until ctx ends; then it returns nil.
func (w *Watcher) Run(ctx context.Context) error {
	stop, err := w.bus.Subscribe([]bus.Kind{bus.Ticks}, func(m bus.Msg) {
		t, err := m.Tick()
		if err == nil {
			w.tick(ctx, t)
		}
	})
	if err != nil {
		return fmt.Errorf("subscribe to ticks: %w", err)
	}
	defer stop()
	c := bus.Consumer{Kinds: []bus.Kind{bus.Sample}, StartSeq: w.start}
	if err := w.bus.Consume(ctx, c, w.samples); err != nil && ctx.Err() == nil {
		return fmt.Errorf("watch samples: %w", err)
	}
	return nil
}

func (w *Watcher) samples(ctx context.Context, batch []bus.Msg) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, m := range batch {
		s, err := m.Sample()
		if err != nil {
			// It stays in the stream; nothing else can be done about it here.
			w.log.Error().Err(err).Uint64("seq", m.Seq).Msg("a sample cannot be read and is passed over")
			continue
		}
		if s.Session != w.engine.cfg.Session || w.engine.begun && s.Passed <= w.engine.Passed() {
			// Another session's, or delivered once more.
			continue
		}
		if err := w.publish(ctx, w.engine.Sample(&s), s.Rocket); err != nil {
			return err
		}
	}
	return w.settle(ctx)
}

// tick notes how far time has come; it counts once every sample that was
// published before it has been handled.
func (w *Watcher) tick(ctx context.Context, t bus.Tick) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if t.Session != w.engine.cfg.Session {
		return
	}
	w.pending = &t
	// A failure to publish here is the stream's and comes back with the next
	// sample or tick: the queue keeps its order.
	_ = w.settle(ctx)
}

func (w *Watcher) settle(ctx context.Context) error {
	defer w.signal()
	if w.pending == nil || w.engine.Passed() < w.pending.AfterPassed {
		return nil
	}
	t := w.pending
	w.pending = nil
	return w.publish(ctx, w.engine.Advance(t.Mono), "")
}

func (w *Watcher) signal() {
	close(w.moved)
	w.moved = make(chan struct{})
}

// publish sends an output to the stream and the states that changed to viewers.
func (w *Watcher) publish(ctx context.Context, out Output, rocket string) error {
	for _, a := range out.Alarms {
		if err := w.bus.PublishAlarm(ctx, a); err != nil {
			return fmt.Errorf("publish alarm %s: %w", a.ID, err)
		}
	}
	for _, e := range out.Events {
		if err := w.bus.PublishEvent(ctx, e); err != nil {
			return fmt.Errorf("publish event %s: %w", e.ID, err)
		}
	}
	if rocket == "" {
		if w.Tell != nil {
			w.Tell(nil, out)
		}
		return nil
	}
	st, ok := w.engine.State(rocket)
	if !ok {
		return nil
	}
	if w.Tell != nil {
		w.Tell(&st, out)
	}
	return w.show(rocket, st)
}

// show tells live viewers of a rocket's state, but not of each sample.
func (w *Watcher) show(rocket string, st flight.State) error {
	last := w.shown[rocket]
	if st.Phase == last.phase && st.At.Sub(last.at) < StateEvery {
		return nil
	}
	w.shown[rocket] = shown{st.At, st.Phase}
	if err := w.bus.PublishState(st); err != nil {
		return fmt.Errorf("publish state of %s: %w", rocket, err)
	}
	return nil
}

// Ack acknowledges an alarm on behalf of a person and publishes the change.
func (w *Watcher) Ack(ctx context.Context, id string, at time.Time) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.publish(ctx, Output{Alarms: w.engine.Ack(id, at)}, "")
}

// WaitFor returns once the sample with this Passed has been handled and a tick
// at mono or later has been, or when ctx ends.
func (w *Watcher) WaitFor(ctx context.Context, passed, mono int64) error {
	for {
		w.mu.Lock()
		done := w.engine.Passed() >= passed && w.engine.Ticked() > mono-int64(TickEvery)
		moved := w.moved
		w.mu.Unlock()
		if done {
			return nil
		}
		select {
		case <-moved:
		case <-ctx.Done():
			return fmt.Errorf("wait for the watcher to catch up: %w", ctx.Err())
		}
	}
}
