package watch

import (
	"context"
	"encoding/json"
	"errors"
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

// What comes out through a real bus, with ticks arriving at odd moments, is
// what the engine alone makes of the same samples.
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
	w := New(b, newEngine(), 1, zerolog.Nop())
	w.Tell = func(_ *flight.State, out Output) { got.add(out) }
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	var g errgroup.Group
	g.Go(func() error { return w.Run(ctx) })
	var last int64
	for i, s := range f.Samples {
		if err := b.PublishSample(ctx, s); err != nil {
			t.Fatal(err)
		}
		last = s.Passed
		if i%7 == 0 {
			// A tick as the sequencer sends it: not beyond the newest sample.
			if err := b.PublishTick(bus.Tick{Session: session, Mono: s.Passed, AfterPassed: s.Passed}); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := b.Flush(ctx); err != nil {
		t.Fatal(err)
	}
	if err := b.PublishTick(bus.Tick{Session: session, Mono: end, AfterPassed: last}); err != nil {
		t.Fatal(err)
	}
	if err := w.WaitFor(ctx, last, end); err != nil {
		t.Fatal(err)
	}
	cancel()
	if err := errors.Join(g.Wait(), b.Close()); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(asJSON(t, want), asJSON(t, got)); diff != "" {
		t.Errorf("through the bus (-alone +got):\n%s", diff)
	}
}

// A tick that overtakes samples waits for them; one of another session and a
// sample that was handled already change nothing.
func TestTickWaitsForSamples(t *testing.T) {
	f, newEngine := flown(t)
	b, err := bus.Open(t.Context(), bus.Options{Station: "test", Memory: true})
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if err := b.Close(); err != nil {
			t.Error(err)
		}
	}()
	w := New(b, newEngine(), 1, zerolog.Nop())
	late := f.Samples[len(f.Samples)-1].Passed
	w.tick(t.Context(), bus.Tick{Session: session, Mono: late, AfterPassed: f.Samples[9].Passed})
	w.tick(t.Context(), bus.Tick{Session: "another", Mono: 2 * late})
	if n := w.engine.Ticked(); n != 0 {
		t.Fatalf("ticked to %d ns before the samples that the tick follows", n)
	}
	batch := func(from, to int) []bus.Msg {
		var out []bus.Msg
		for _, s := range f.Samples[from:to] {
			data, err := json.Marshal(s)
			if err != nil {
				t.Fatal(err)
			}
			out = append(out, bus.Msg{Kind: bus.Sample, Data: data})
		}
		return out
	}
	if err := w.samples(t.Context(), batch(0, 9)); err != nil {
		t.Fatal(err)
	}
	if n := w.engine.Ticked(); n > f.Samples[9].Passed {
		t.Fatalf("ticked to %d ns while one sample was still missing", n)
	}
	if err := w.samples(t.Context(), batch(0, 10)); err != nil { // nine of them again
		t.Fatal(err)
	}
	if n := w.engine.Ticked(); n <= late-int64(TickEvery) {
		t.Errorf("ticked to %d ns, want up to %d", n, late)
	}
	if p := w.engine.Passed(); p != f.Samples[9].Passed {
		t.Errorf("passed %d, want %d", p, f.Samples[9].Passed)
	}
}

// Waiting for what never comes ends with the context, and says so.
func TestWaitForEnds(t *testing.T) {
	_, newEngine := flown(t)
	w := New(nil, newEngine(), 1, zerolog.Nop())
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := w.WaitFor(ctx, 1, 1); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v", err)
	}
}
