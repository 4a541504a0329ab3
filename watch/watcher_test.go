package watch

import (
	"context"
	"encoding/json"
	"errors"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/rs/zerolog"

	"padlark/bus"
	"padlark/decode"
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

// outlet is a bus, and notes what is to be kept.
type outlet struct {
	*bus.Bus
	kept Output
}

func (o *outlet) Record(events []flight.Event, alarms []flight.Alarm) error {
	o.kept.add(Output{Events: events, Alarms: alarms})
	return nil
}

func openBus(t *testing.T) *bus.Bus {
	t.Helper()
	b, err := bus.Open(t.Context(), bus.Options{Station: "test"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := b.Close(); err != nil {
			t.Error(err)
		}
	})
	return b
}

// send publishes samples with ticks at odd moments, as a sequencer does.
func send(t *testing.T, b *bus.Bus, samples []decode.Sample, end int64) {
	t.Helper()
	var last int64
	for i := range samples {
		s := &samples[i]
		if err := b.PublishSample(s, last); err != nil {
			t.Fatal(err)
		}
		if last = s.Passed; i%7 == 0 {
			// A tick as the sequencer sends it: not beyond the newest sample.
			if err := b.PublishTick(&bus.Tick{Session: session, Mono: last, AfterPassed: last}); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := b.PublishTick(&bus.Tick{Session: session, Mono: end, AfterPassed: last}); err != nil {
		t.Fatal(err)
	}
}

// alone is what the engine by itself makes of samples.
func alone(e *Engine, samples []decode.Sample, end int64) (out Output) {
	for i := range samples {
		out.add(e.Sample(&samples[i]))
	}
	out.add(e.Advance(end))
	return out
}

// What the watcher finds on a real bus, with ticks arriving at odd moments, is
// what the engine alone makes of the same samples; and so it is told, kept and
// published. A sample that is lost on the way comes from the journal.
func TestWatcherEqualsEngine(t *testing.T) {
	f, newEngine := flown(t)
	end := int64(f.EndS*1e9) + f.Samples[0].Passed
	want := alone(newEngine(), f.Samples, end)
	if len(want.Events) < 5 {
		t.Fatalf("the flight has only %d events", len(want.Events))
	}
	for _, c := range []struct {
		name       string
		lost, upTo int // samples that the bus loses
	}{{"none lost", 0, 0}, {"one lost", 200, 201}, {"many lost", 250, 400}, {"the first lost", 0, 3}} {
		t.Run(c.name, func(t *testing.T) {
			b := openBus(t)
			out := &outlet{Bus: b}
			w := New(out, newEngine(), zerolog.Nop())
			var got Output
			w.Tell = func(_ *flight.State, o Output) { got.add(o) }
			filled := 0
			w.Fill = func(after, before int64, fn func(*decode.Sample) error) error {
				for i := range f.Samples {
					if p := f.Samples[i].Passed; p > after && p < before {
						filled++
						if err := fn(&f.Samples[i]); err != nil {
							return err
						}
					}
				}
				return nil
			}
			var shown []flight.Event
			stop, err := b.Subscribe([]bus.Kind{bus.Event}, func(m bus.Msg) {
				e, err := m.Event()
				if err != nil {
					t.Error(err)
				}
				shown = append(shown, e)
			})
			if err != nil {
				t.Fatal(err)
			}
			if err := w.Start(leaky{b, c.lost, c.upTo}); err != nil {
				t.Fatal(err)
			}
			send(t, b, f.Samples, end)
			last := f.Samples[len(f.Samples)-1].Passed
			ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
			defer cancel()
			if err := errors.Join(w.WaitFor(ctx, last, end), b.Settle(ctx)); err != nil {
				t.Fatal(err)
			}
			w.Stop()
			stop()
			if diff := cmp.Diff(asJSON(t, want), asJSON(t, got)); diff != "" {
				t.Errorf("told (-alone +got):\n%s", diff)
			}
			if diff := cmp.Diff(asJSON(t, want), asJSON(t, out.kept)); diff != "" {
				t.Errorf("kept (-alone +got):\n%s", diff)
			}
			if diff := cmp.Diff(asJSON(t, want.Events), asJSON(t, shown)); diff != "" {
				t.Errorf("published (-alone +got):\n%s", diff)
			}
			if filled != c.upTo-c.lost {
				t.Errorf("%d samples came from the journal, %d were lost", filled, c.upTo-c.lost)
			}
		})
	}
}

// leaky is a bus on which some samples are lost.
type leaky struct {
	*bus.Bus
	from, to int
}

func (l leaky) Subscribe(kinds []bus.Kind, fn func(bus.Msg)) (func(), error) {
	n := 0
	return l.Bus.Subscribe(kinds, func(m bus.Msg) {
		if m.Kind == bus.Sample {
			n++
			if n > l.from && n <= l.to {
				return
			}
		}
		fn(m)
	})
}

// Whoever waits for a watcher that has been stopped is told so.
func TestStoppedWatcher(t *testing.T) {
	_, newEngine := flown(t)
	w := New(nil, newEngine(), zerolog.Nop())
	if err := w.Start(openBus(t)); err != nil {
		t.Fatal(err)
	}
	w.Stop()
	w.Stop() // harmless
	if err := w.WaitFor(t.Context(), 1, 1); !errors.Is(err, errStopped) {
		t.Errorf("error %v, want %v", err, errStopped)
	}
}

// failing is an outlet that takes nothing.
type failing struct{ err error }

func (f failing) PublishEvent(*flight.Event) error               { return f.err }
func (f failing) PublishAlarm(*flight.Alarm) error               { return f.err }
func (f failing) PublishState(string, func() flight.State) error { return f.err }
func (f failing) Record([]flight.Event, []flight.Alarm) error    { return f.err }

// A message that cannot be sent does not end the watch, nor keep anybody from
// being told.
func TestWatchGoesOn(t *testing.T) {
	f, newEngine := flown(t)
	b := openBus(t)
	w := New(failing{errors.New("no room")}, newEngine(), zerolog.Nop())
	var got Output
	w.Tell = func(_ *flight.State, o Output) { got.add(o) }
	if err := w.Start(b); err != nil {
		t.Fatal(err)
	}
	defer w.Stop()
	last := f.Samples[len(f.Samples)-1].Passed
	send(t, b, f.Samples, last)
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	if err := w.WaitFor(ctx, last, 0); err != nil {
		t.Fatal(err)
	}
	if len(got.Events) < 4 {
		t.Errorf("only %d events were told", len(got.Events))
	}
}
