package watch

import (
	"context"
	"encoding/json"
	"errors"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/rs/zerolog"
	"golang.org/x/sync/errgroup"

	"padlark/bus"
	"padlark/flight"
	"padlark/flight/ensemble"
)

const session = "20260516-100000-test"

// flown is a drawn flight and an engine that knows its rocket.
func flown(t *testing.T) (ensemble.Flight, func() *Engine) {
	t.Helper()
	f, err := ensemble.Draw(ensemble.Nominal50(), 11, 0)
	if err != nil {
		t.Fatal(err)
	}
	for i := range f.Samples {
		f.Samples[i].Session = session
	}
	epoch := f.Samples[0].Heard.Add(-time.Duration(f.Samples[0].Passed))
	return f, func() *Engine {
		e, err := NewEngine(Config{Session: session, Epoch: epoch, Rockets: []flight.Rocket{f.Rocket}, Site: f.Site})
		if err != nil {
			t.Fatal(err)
		}
		return e
	}
}

func asJSON(t *testing.T, v any) string {
	t.Helper()
	b, err := json.MarshalIndent(v, "", " ")
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// What the watcher publishes on a real bus, with ticks arriving at odd moments,
// is what the engine alone makes of the same samples, and each event stands in
// the stream after the sample that brought it about.
func TestWatcherEqualsEngine(t *testing.T) {
	f, newEngine := flown(t)
	end := int64(f.EndS*1e9) + f.Samples[0].Passed
	want := Output{}
	alone := newEngine()
	for i := range f.Samples {
		want.add(alone.Sample(&f.Samples[i]))
	}
	want.add(alone.Advance(end))
	if len(want.Events) < 5 {
		t.Fatalf("the flight has only %d events", len(want.Events))
	}

	b, err := bus.Open(t.Context(), bus.Options{Station: "test", Memory: true})
	if err != nil {
		t.Fatal(err)
	}
	var got Output
	w := New(b, newEngine(), zerolog.Nop())
	w.Tell = func(_ *flight.State, out Output) { got.add(out) }
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	var g errgroup.Group
	g.Go(func() error { return w.Run(ctx) })
	var last int64
	for i, s := range f.Samples {
		err := errors.Join(b.PublishSample(ctx, s), w.Sample(ctx, s))
		last = s.Passed
		if i%7 == 0 {
			// A tick as the sequencer sends it: not beyond the newest sample.
			err = errors.Join(err, w.Tick(ctx, s.Passed))
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := errors.Join(w.Tick(ctx, end), w.WaitFor(ctx, last, end), b.Flush(ctx)); err != nil {
		t.Fatal(err)
	}
	checkStream(t, b, want.Events)
	cancel()
	if err := errors.Join(g.Wait(), b.Close()); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(asJSON(t, want), asJSON(t, got)); diff != "" {
		t.Errorf("by the watcher (-alone +got):\n%s", diff)
	}
}

// checkStream reads the stream: it holds exactly these events, each after a
// sample that was heard when the event was called, if there is one.
func checkStream(t *testing.T, b *bus.Bus, want []flight.Event) {
	t.Helper()
	var got []flight.Event
	heard := time.Time{}
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	err := b.Consume(ctx, bus.Consumer{}, func(_ context.Context, msgs []bus.Msg) error {
		for _, m := range msgs {
			switch m.Kind {
			case bus.Sample:
				s, err := m.Sample()
				if err != nil {
					return errors.Join(err, bus.ErrStop)
				}
				heard = s.Heard
			case bus.Event:
				e, err := m.Event()
				if err != nil {
					return errors.Join(err, bus.ErrStop)
				}
				if e.CalledAt.After(heard.Add(TickEvery)) {
					t.Errorf("event %s stands in the stream before the sample that brought it about", e.ID)
				}
				got = append(got, e)
			}
			if m.Seq >= b.LastSeq() {
				cancel()
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(asJSON(t, want), asJSON(t, got)); diff != "" {
		t.Errorf("events in the stream (-want +got):\n%s", diff)
	}
}

// Whoever hands something to a watcher that has stopped is told so and is not
// held up, even when its queue is full.
func TestStoppedWatcherTakesNothing(t *testing.T) {
	f, newEngine := flown(t)
	w := New(nil, newEngine(), zerolog.Nop())
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := w.Run(ctx); err != nil {
		t.Fatal(err)
	}
	var err error
	for i := 0; i <= stepQueue && err == nil; i++ {
		err = w.Sample(t.Context(), f.Samples[0])
	}
	if !errors.Is(err, ErrStopped) {
		t.Errorf("error %v, want %v", err, ErrStopped)
	}
	if err := w.WaitFor(t.Context(), 1, 1); !errors.Is(err, ErrStopped) {
		t.Errorf("waiting: error %v, want %v", err, ErrStopped)
	}
}

// failing is a bus that cannot send alarms and events.
type failing struct{ err error }

func (f failing) PublishEvent(context.Context, flight.Event) error { return f.err }
func (f failing) PublishAlarm(context.Context, flight.Alarm) error { return f.err }
func (f failing) PublishState(flight.State) error                  { return f.err }

// A message that cannot be sent does not end the watch; a closed bus does.
func TestWatchGoesOn(t *testing.T) {
	f, newEngine := flown(t)
	for _, c := range []struct {
		err  error
		ends bool
	}{{bus.ErrTooLarge, false}, {bus.ErrClosed, true}} {
		w := New(failing{c.err}, newEngine(), zerolog.Nop())
		ctx, cancel := context.WithCancel(t.Context())
		var g errgroup.Group
		g.Go(func() error { return w.Run(ctx) })
		var err error
		for i := range f.Samples {
			if err = w.Sample(ctx, f.Samples[i]); err != nil {
				break
			}
		}
		last := f.Samples[len(f.Samples)-1].Passed
		if waited := w.WaitFor(ctx, last, 0); c.ends != errors.Is(waited, ErrStopped) {
			t.Errorf("bus says %v: the watch says %v, %v", c.err, err, waited)
		}
		cancel()
		if err := g.Wait(); c.ends != errors.Is(err, bus.ErrClosed) {
			t.Errorf("bus says %v: Run says %v", c.err, err)
		}
	}
}

// Waiting for what never comes ends with the context, and says so.
func TestWaitForEnds(t *testing.T) {
	_, newEngine := flown(t)
	w := New(nil, newEngine(), zerolog.Nop())
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := w.WaitFor(ctx, 1, 1); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v", err)
	}
}

// full is a bus that has no room and never will. asked says that somebody waits.
type full struct {
	failing
	asked chan struct{}
}

func (f full) wait(ctx context.Context) error {
	select {
	case f.asked <- struct{}{}:
	default:
	}
	<-ctx.Done()
	return ctx.Err()
}

func (f full) PublishAlarm(ctx context.Context, _ flight.Alarm) error { return f.wait(ctx) }

func (f full) PublishEvent(ctx context.Context, _ flight.Event) error { return f.wait(ctx) }

// Whoever waits for a watcher that waits for the bus can give up: the stop of a
// station must not hang on a full disk.
func TestWaitForGivesUpWhileTheBusIsFull(t *testing.T) {
	f, newEngine := flown(t)
	stuck := full{asked: make(chan struct{}, 1)}
	w := New(stuck, newEngine(), zerolog.Nop())
	var told atomic.Bool
	w.Tell = func(_ *flight.State, out Output) { told.Store(told.Load() || len(out.Events)+len(out.Alarms) > 0) }
	ctx, cancel := context.WithCancel(t.Context())
	var g errgroup.Group
	g.Go(func() error { return w.Run(ctx) })
	g.Go(func() error {
		for _, s := range f.Samples {
			if err := w.Sample(ctx, s); err != nil && ctx.Err() == nil {
				return err
			}
		}
		return nil
	})
	<-stuck.asked // it stands at the first thing that it has to say
	given := make(chan error, 1)
	go func() {
		short, stop := context.WithTimeout(ctx, 50*time.Millisecond)
		defer stop()
		given <- w.WaitFor(short, f.Samples[len(f.Samples)-1].Passed, 0)
	}()
	select {
	case err := <-given:
		if !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("it said %v", err)
		}
	case <-time.After(10 * time.Second):
		t.Error("it waits for a lock that the full bus holds")
	}
	go func() {
		short, stop := context.WithTimeout(ctx, 50*time.Millisecond)
		defer stop()
		given <- w.Ack(short, "any", f.Samples[0].At)
	}()
	select {
	case err := <-given:
		if !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("the acknowledgement said %v", err)
		}
	case <-time.After(10 * time.Second):
		t.Error("an acknowledgement waits without end for the full bus")
	}
	cancel()
	if err := g.Wait(); err != nil {
		t.Error(err)
	}
	if !told.Load() {
		t.Error("nobody in this process was told while the bus was full")
	}
}

// ordered is a bus with room that counts what it was given.
type ordered struct {
	failing
	sent *atomic.Int64
}

func (o ordered) PublishEvent(context.Context, flight.Event) error { o.sent.Add(1); return nil }
func (o ordered) PublishAlarm(context.Context, flight.Alarm) error { o.sent.Add(1); return nil }

// The bus is given news before whoever is told here, and each once.
func TestNewsGoesToTheBusFirst(t *testing.T) {
	f, newEngine := flown(t)
	b := ordered{sent: new(atomic.Int64)}
	w := New(b, newEngine(), zerolog.Nop())
	var told int64
	w.Tell = func(_ *flight.State, out Output) {
		told += int64(len(out.Events) + len(out.Alarms))
		if sent := b.sent.Load(); sent != told {
			t.Errorf("told of %d, the bus has %d", told, sent)
		}
	}
	ctx, cancel := context.WithCancel(t.Context())
	var g errgroup.Group
	g.Go(func() error { return w.Run(ctx) })
	for _, s := range f.Samples {
		if err := w.Sample(ctx, s); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.WaitFor(ctx, f.Samples[len(f.Samples)-1].Passed, 0); err != nil {
		t.Error(err)
	}
	cancel()
	if err := g.Wait(); err != nil {
		t.Error(err)
	}
	if told < 3 {
		t.Errorf("only %d events and alarms in a whole flight", told)
	}
}
