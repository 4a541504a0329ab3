package station

import (
	"context"
	"errors"
	"testing"
	"time"

	"padlark/bus"
	"padlark/cmd/padlark/config"
	"padlark/decode"
	"padlark/ingest"
)

// taking is a bus that takes everything.
type taking struct{}

func (taking) PublishFrame(context.Context, ingest.Frame) error     { return nil }
func (taking) PublishSample(context.Context, decode.Sample) error   { return nil }
func (taking) PublishReject(context.Context, decode.Rejected) error { return nil }
func (taking) PublishTick(bus.Tick) error                           { return nil }

// behind is a watcher that has no room when the line is stopped.
type behind struct{}

func (behind) Sample(ctx context.Context, _ decode.Sample) error { return context.Canceled }
func (behind) Tick(context.Context, int64) error                 { return nil }

// A sample that the watcher was never given is not waited for when the line
// stops.
func TestStopWaitsOnlyForWhatWasGiven(t *testing.T) {
	cfg, err := config.Parse("test", []byte("[station]\nname = \"north-field\"\n[[link]]\nname = \"pad\"\nudp = \":9750\"\nlayout = \"lark-text\"\n"))
	if err != nil {
		t.Fatal(err)
	}
	d, err := newDecoder(cfg)
	if err != nil {
		t.Fatal(err)
	}
	q := &sequencer{session: "s", epoch: time.Unix(0, 0), out: taking{}, watch: behind{}, decoder: d}
	l, err := decode.Compile(builtin(t, "lark-text"), nil)
	if err != nil {
		t.Fatal(err)
	}
	data, err := l.Encode(nil, decode.Message{Rocket: 7, Values: map[string]float64{decode.PressurePa: 100000}})
	if err != nil {
		t.Fatal(err)
	}
	err = q.live(t.Context(), ingest.Frame{Link: "pad", N: 1, Mono: 5, Bytes: data}, 5)
	if !errors.Is(err, context.Canceled) {
		t.Fatalf("the frame was not refused by the watcher: %v", err)
	}
	if q.sampled != 0 {
		t.Errorf("the stop would wait for a sample passed at %d, which the watcher never had", q.sampled)
	}
}

func builtin(t *testing.T, name string) decode.Layout {
	t.Helper()
	all, err := decode.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range all {
		if l.Name == name {
			return l
		}
	}
	t.Fatalf("there is no layout %s", name)
	return decode.Layout{}
}
