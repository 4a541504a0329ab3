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

// stateEvery is how often, in event time, a rocket's state is published to
// live viewers; a change of phase is published at once.
const stateEvery = 100 * time.Millisecond

// Ahead is how many samples and ticks may be on the way to a watcher that must
// miss none: its publisher waits (WaitFor) before more are. The bus has room for
// more than that.
const Ahead = bus.Buffer / 2

// maxShown bounds what is remembered of states that were told.
const maxShown = 512

// errStopped is returned to whoever waits for a watcher that has been stopped.
var errStopped = errors.New("the watcher has stopped")

// Outlet takes what the watcher finds.
type Outlet interface {
	PublishEvent(e *flight.Event) error
	PublishAlarm(a *flight.Alarm) error
	// PublishState publishes a rocket's state, which it asks for if anybody listens.
	PublishState(rocket string, now func() flight.State) error
	// Record keeps what has been published; it may have to wait for a disk.
	Record(events []flight.Event, alarms []flight.Alarm) error
}

// Source is where samples and ticks come from.
type Source interface {
	Subscribe(kinds []bus.Kind, fn func(bus.Msg)) (stop func(), err error)
}

// Watcher feeds an Engine with the samples and ticks on a bus, and publishes what
// comes out.
type Watcher struct {
	// Tell, if set before Start, is called with everything that comes out, in
	// order, from one goroutine at a time, together with the state of the rocket
	// whose sample brought it about (nil at a tick), without go / not yet and only
	// until it returns. It must be quick.
	Tell func(st *flight.State, out Output)
	// Fill, if set before Start, calls fn with the session's samples that passed
	// after one moment and before another, both in ns since the epoch: what was
	// missed on the bus.
	Fill func(after, before int64, fn func(*decode.Sample) error) error

	out  Outlet
	log  zerolog.Logger
	stop func()

	mu     sync.Mutex // the engine and what follows
	engine *Engine
	shown  map[string]shown // what live viewers were told last
	last   int64            // Passed of the newest sample taken

	// How far the engine has come, under a lock of its own: whoever waits for the
	// watcher must be able to give up while it waits for a disk.
	farMu          sync.Mutex
	passed, ticked int64
	waiters        int
	moved          chan struct{} // closed and replaced when the engine moves on and somebody waits
	gone           chan struct{} // closed by Stop
}

type shown struct {
	at    time.Time
	phase flight.Phase
}

// New makes a watcher. The engine of a session that goes on has had its samples.
func New(out Outlet, engine *Engine, log zerolog.Logger) *Watcher {
	return &Watcher{
		out: out, log: log, engine: engine, shown: map[string]shown{}, last: engine.Passed(),
		passed: engine.Passed(), ticked: engine.Ticked(),
		gone: make(chan struct{}), moved: make(chan struct{}),
	}
}

// Start listens to a bus. Stop must be called.
func (w *Watcher) Start(from Source) (err error) {
	if w.stop, err = from.Subscribe([]bus.Kind{bus.Sample, bus.Ticks}, w.take); err != nil {
		return fmt.Errorf("watch: %w", err)
	}
	return nil
}

// Stop ends the watch; what was called out with is done when it returns.
func (w *Watcher) Stop() {
	if w.stop != nil {
		w.stop()
		w.stop = nil
		close(w.gone)
	}
}

// take handles one message. What cannot be read or published must not end the
// watch.
func (w *Watcher) take(m bus.Msg) {
	w.mu.Lock()
	defer w.mu.Unlock()
	var err error
	switch m.Kind {
	case bus.Ticks:
		var t bus.Tick
		if t, err = m.Tick(); err == nil {
			err = w.publish(w.engine.Advance(t.Mono), "")
		}
	case bus.Sample:
		var s decode.Sample
		var after int64
		if s, after, err = m.Sample(); err == nil {
			err = errors.Join(w.fill(after, s.Passed), w.sample(&s))
		}
	}
	if err != nil {
		w.log.Error().Err(err).Msg("the watch goes on")
	}
	w.signal()
}

func (w *Watcher) sample(s *decode.Sample) error {
	w.last = s.Passed
	return w.publish(w.engine.Sample(s), s.Rocket)
}

// fill brings what was missed between the newest sample taken and the one that
// stands before the present one.
func (w *Watcher) fill(after, present int64) error {
	if after <= w.last {
		return nil
	}
	if w.Fill == nil {
		return errors.New("samples were missed on the bus")
	}
	n := 0
	err := w.Fill(w.last, present, func(s *decode.Sample) error { n++; return w.sample(s) })
	if err != nil {
		return fmt.Errorf("samples were missed on the bus and cannot be had from the journal: %w", err)
	}
	w.log.Warn().Int("samples", n).Msg("samples were missed on the bus; they came from the journal")
	return nil
}

// signal notes how far the engine has come; the caller has the lock.
func (w *Watcher) signal() {
	w.farMu.Lock()
	defer w.farMu.Unlock()
	w.passed, w.ticked = w.engine.Passed(), w.engine.Ticked()
	if w.waiters > 0 {
		w.waiters = 0
		close(w.moved)
		w.moved = make(chan struct{})
	}
}

// publish sends an output, and the state that changed, to viewers, then tells
// whoever is told in this process, and keeps it: a warning waits for no disk.
func (w *Watcher) publish(out Output, rocket string) error {
	var st *flight.State
	if rocket != "" {
		if out.Sender != "" {
			rocket = out.Sender
		}
		st, _ = w.engine.live(rocket)
	}
	errs := make([]error, 0, 8) // mostly none, of each sample
	for i := range out.Alarms {
		errs = append(errs, w.out.PublishAlarm(&out.Alarms[i]))
	}
	for i := range out.Events {
		errs = append(errs, w.out.PublishEvent(&out.Events[i]))
	}
	if w.Tell != nil && (st != nil || rocket == "") {
		w.Tell(st, out)
	}
	if st != nil {
		errs = append(errs, w.show(rocket, st))
	}
	if len(out.Events)+len(out.Alarms) > 0 {
		errs = append(errs, w.out.Record(out.Events, out.Alarms))
	}
	return errors.Join(errs...)
}

// show tells live viewers of a rocket's state, but not of each sample.
func (w *Watcher) show(rocket string, st *flight.State) error {
	last := w.shown[rocket]
	if st.Phase == last.phase && st.At.Sub(last.at) < stateEvery {
		return nil
	}
	if len(w.shown) > maxShown {
		clear(w.shown) // of rockets that are forgotten: it only costs a state too many
	}
	w.shown[rocket] = shown{st.At, st.Phase}
	return w.out.PublishState(rocket, func() flight.State {
		full, _ := w.engine.State(rocket)
		return full
	})
}

// Ack acknowledges an alarm on behalf of a person and publishes the change.
func (w *Watcher) Ack(_ context.Context, id string, at time.Time) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if err := w.publish(Output{Alarms: w.engine.Ack(id, at)}, ""); err != nil {
		return fmt.Errorf("acknowledge alarm %s: %w", id, err)
	}
	return nil
}

// Reconfigure goes on with another configuration from a moment of the session on;
// samples that passed before must have been handled (WaitFor).
func (w *Watcher) Reconfigure(at int64, cfg Config) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	out, err := w.engine.Reconfigure(at, cfg)
	if err == nil {
		err = w.publish(out, "")
	}
	w.signal()
	return err
}

// WaitFor returns once the sample with this Passed has been handled and a tick
// at mono or later has been, or when ctx ends.
func (w *Watcher) WaitFor(ctx context.Context, passed, mono int64) error {
	for {
		w.farMu.Lock()
		done := w.passed >= passed && w.ticked > mono-int64(TickEvery)
		moved := w.moved
		if !done {
			w.waiters++
		}
		w.farMu.Unlock()
		if done {
			return nil
		}
		select {
		case <-moved:
		case <-w.gone:
			return errStopped
		case <-ctx.Done():
			return fmt.Errorf("wait for the watcher to catch up: %w", ctx.Err())
		}
	}
}
