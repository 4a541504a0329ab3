package watch

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"github.com/rs/zerolog"

	"padlark/bus"
	"padlark/decode"
	"padlark/flight"
)

// StateEvery is how often, in event time, a rocket's state is published to
// live viewers; a change of phase is published at once.
const StateEvery = 100 * time.Millisecond

// maxShown bounds what is remembered of states that were told.
const maxShown = 512

// stepQueue is how many samples and ticks may wait for the watcher. When it is
// full the sequencer waits in turn: nothing is dropped.
const stepQueue = 1024

// ErrStopped is returned to whoever still has something for a watcher whose Run
// has returned.
var ErrStopped = errors.New("the watcher has stopped")

// line is the part of the bus that the watcher needs.
type line interface {
	PublishEvent(ctx context.Context, e flight.Event) error
	PublishAlarm(ctx context.Context, a flight.Alarm) error
	PublishState(st flight.State) error
}

// Watcher feeds an Engine with samples and ticks and publishes what comes out.
type Watcher struct {
	// Tell, if set before Run, is called with everything that comes out, in
	// order, from one goroutine at a time, together with the state of the rocket
	// whose sample brought it about (nil at a tick). It must be quick.
	Tell func(st *flight.State, out Output)

	bus   line
	log   zerolog.Logger
	steps chan step
	gone  chan struct{} // closed when Run has returned

	turn   chan struct{} // holds one while somebody uses the engine and shown
	engine *Engine
	shown  map[string]shown // what live viewers were told last

	// How far the engine has come, under a lock of its own: the turn is held while
	// something waits for room in the bus, and whoever waits for the watcher must
	// be able to give up meanwhile.
	farMu          sync.Mutex
	passed, ticked int64
	moved          chan struct{} // closed and replaced whenever the engine moves on
}

// step is a sample, or a tick if it has none.
type step struct {
	sample *decode.Sample
	mono   int64 // of a tick, ns since the session's epoch
}

type shown struct {
	at    time.Time
	phase flight.Phase
}

// New makes a watcher. Its Run must be called once.
func New(b line, engine *Engine, log zerolog.Logger) *Watcher {
	return &Watcher{
		bus: b, log: log, engine: engine, shown: map[string]shown{},
		passed: engine.Passed(), ticked: engine.Ticked(), // of a session that goes on
		steps: make(chan step, stepQueue), gone: make(chan struct{}), moved: make(chan struct{}),
		turn: make(chan struct{}, 1),
	}
}

// Sample hands over a sample that has been published: what it brings about then
// stands after it in the stream. Samples and ticks are handled in the order of
// the calls; when too many wait, it waits.
func (w *Watcher) Sample(ctx context.Context, s decode.Sample) error {
	return w.put(ctx, step{sample: &s})
}

// Tick says how far time has come, in ns since the session's epoch.
func (w *Watcher) Tick(ctx context.Context, mono int64) error {
	return w.put(ctx, step{mono: mono})
}

func (w *Watcher) put(ctx context.Context, s step) error {
	select {
	case w.steps <- s:
		return nil
	case <-w.gone:
		return ErrStopped
	case <-ctx.Done():
		return fmt.Errorf("wait for the watcher: %w", ctx.Err())
	}
}

// Run handles what it is given until ctx ends; then it returns nil.
func (w *Watcher) Run(ctx context.Context) error {
	defer close(w.gone)
	for {
		select {
		case s := <-w.steps:
			err := w.take(ctx, s)
			switch {
			case err == nil || ctx.Err() != nil:
			case errors.Is(err, bus.ErrClosed):
				return fmt.Errorf("watch samples: %w", err)
			default:
				// One message that cannot be sent must not end the watch.
				w.log.Error().Err(err).Msg("the watch goes on")
			}
		case <-ctx.Done():
			return nil
		}
	}
}

func (w *Watcher) take(ctx context.Context, s step) error {
	if err := w.enter(ctx); err != nil {
		return err
	}
	defer w.leave()
	defer w.signal()
	if s.sample == nil {
		return w.publish(ctx, w.engine.Advance(s.mono), "")
	}
	return w.publish(ctx, w.engine.Sample(s.sample), s.sample.Rocket)
}

// signal notes how far the engine has come; the caller has the turn.
func (w *Watcher) signal() {
	w.farMu.Lock()
	defer w.farMu.Unlock()
	w.passed, w.ticked = w.engine.Passed(), w.engine.Ticked()
	close(w.moved)
	w.moved = make(chan struct{})
}

// publish sends an output to the stream and the states that changed to viewers.
func (w *Watcher) publish(ctx context.Context, out Output, rocket string) error {
	var st *flight.State
	if rocket != "" {
		if out.Sender != "" {
			rocket = out.Sender
		}
		if now, ok := w.engine.State(rocket); ok {
			st = &now
		}
	}
	left := out
	err := w.sendSoon(ctx, &left)
	if w.Tell != nil && (st != nil || rocket == "") {
		w.Tell(st, out)
	}
	if err == nil {
		err = w.send(ctx, &left)
	}
	if err != nil {
		return err
	}
	if st != nil {
		w.show(rocket, *st)
	}
	return nil
}

// patience is how long whoever is told in this process waits for room in the
// bus, so that news usually goes out before a callout takes the processor.
const patience = 2 * time.Millisecond

// sendSoon sends what the bus has room for; what it does not is left in out.
func (w *Watcher) sendSoon(ctx context.Context, out *Output) error {
	if len(out.Alarms)+len(out.Events) == 0 {
		return nil
	}
	soon, stop := context.WithTimeout(ctx, patience)
	defer stop()
	if err := w.send(soon, out); err != nil && (soon.Err() == nil || ctx.Err() != nil) {
		return err
	}
	return nil
}

// send sends an output to the stream, and takes out of it what has been sent.
func (w *Watcher) send(ctx context.Context, out *Output) error {
	for ; len(out.Alarms) > 0; out.Alarms = out.Alarms[1:] {
		if err := w.bus.PublishAlarm(ctx, out.Alarms[0]); err != nil {
			return fmt.Errorf("publish alarm %s: %w", out.Alarms[0].ID, err)
		}
	}
	for ; len(out.Events) > 0; out.Events = out.Events[1:] {
		if err := w.bus.PublishEvent(ctx, out.Events[0]); err != nil {
			return fmt.Errorf("publish event %s: %w", out.Events[0].ID, err)
		}
	}
	return nil
}

// show tells live viewers of a rocket's state, but not of each sample.
func (w *Watcher) show(rocket string, st flight.State) {
	last := w.shown[rocket]
	if st.Phase == last.phase && st.At.Sub(last.at) < StateEvery {
		return
	}
	if len(w.shown) > maxShown {
		clear(w.shown) // of rockets that are forgotten: it only costs a state too many
	}
	w.shown[rocket] = shown{st.At, st.Phase}
	// The bus counts what it could not send; the next state says it all again.
	_ = w.bus.PublishState(st)
}

// Ack acknowledges an alarm on behalf of a person and publishes the change.
func (w *Watcher) Ack(ctx context.Context, id string, at time.Time) error {
	if err := w.enter(ctx); err != nil {
		return fmt.Errorf("acknowledge alarm %s: %w", id, err)
	}
	defer w.leave()
	return w.publish(ctx, Output{Alarms: w.engine.Ack(id, at)}, "")
}

// enter waits for the engine, which one at a time may use; a full bus can make
// that long.
func (w *Watcher) enter(ctx context.Context) error {
	select {
	case w.turn <- struct{}{}:
		return nil
	case <-ctx.Done():
		return fmt.Errorf("wait for the watcher: %w", ctx.Err())
	}
}

func (w *Watcher) leave() { <-w.turn }

// WaitFor returns once the sample with this Passed has been handled and a tick
// at mono or later has been, or when ctx ends.
func (w *Watcher) WaitFor(ctx context.Context, passed, mono int64) error {
	for {
		w.farMu.Lock()
		done := w.passed >= passed && w.ticked > mono-int64(TickEvery)
		moved := w.moved
		w.farMu.Unlock()
		if done {
			return nil
		}
		select {
		case <-moved:
		case <-w.gone:
			return ErrStopped
		case <-ctx.Done():
			return fmt.Errorf("wait for the watcher to catch up: %w", ctx.Err())
		}
	}
}
