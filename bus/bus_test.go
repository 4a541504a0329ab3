package bus

import (
	"context"
	"fmt"
	"testing"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/ingest"
)

// epoch of the tests' sessions; any moment would do.
var epoch = time.Date(2031, 5, 17, 9, 0, 0, 0, time.UTC)

func open(t testing.TB, o Options) *Bus {
	t.Helper()
	if o.Station == "" {
		o.Station = "north-field"
	}
	if o.Dir == "" && o.URL == "" && !o.Memory {
		o.Dir = t.TempDir()
	}
	b, err := Open(t.Context(), o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := b.Close(); err != nil {
			t.Errorf("close: %v", err)
		}
	})
	return b
}

func testFrame(n uint64) ingest.Frame {
	mono := int64(n) * 20_000_000
	return ingest.Frame{
		Session: "s1", Link: "pad-radio", N: n, Heard: epoch.Add(time.Duration(mono)),
		Mono: mono, Passed: mono + 1000, Wire: 24, Baud: 9600, Bytes: []byte{1, 7, byte(n), byte(n >> 8)},
	}
}

func testSample(n uint64) decode.Sample {
	f := testFrame(n)
	return decode.Sample{
		Session: f.Session, Link: f.Link, N: n, Rocket: "Teal", Boot: 1, Seq: int64(n), Clock: f.Mono / 1000,
		Heard: f.Heard, At: f.Heard.Add(-25 * time.Millisecond), Passed: f.Passed,
		Values: decode.Channels{Names: []string{"cell_v", "pressure_pa"}, Values: []float64{3.91, 101000.5 + float64(n)}},
	}
}

func testEvent(n int) flight.Event {
	return flight.Event{Session: "s1", ID: fmt.Sprintf("Teal/%d/liftoff", n), At: epoch, CalledAt: epoch, Rocket: "Teal", Kind: flight.Liftoff, Flight: n}
}

// collect reads n messages in order from the start.
func collect(t testing.TB, b *Bus, n int, c Consumer) []Msg {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	var got []Msg
	err := b.Consume(ctx, c, func(_ context.Context, ms []Msg) error {
		got = append(got, ms...)
		if len(got) >= n {
			cancel()
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(got) < n {
		for i, m := range got {
			if f, err := m.Frame(); err == nil && f.N != uint64(i+1) {
				t.Logf("message %d is frame %d", i+1, f.N)
				break
			}
		}
		t.Fatalf("got %d messages, want %d", len(got), n)
	}
	return got
}

func TestStoredInOrderAcrossKinds(t *testing.T) {
	b := open(t, Options{})
	const n = 2000
	var want []string
	for i := 1; i <= n; i++ {
		if err := b.PublishFrame(t.Context(), testFrame(uint64(i))); err != nil {
			t.Fatal(err)
		}
		want = append(want, fmt.Sprintf("frame %d", i))
		if err := b.PublishSample(t.Context(), testSample(uint64(i))); err != nil {
			t.Fatal(err)
		}
		want = append(want, fmt.Sprintf("sample %d", i))
		if i%500 == 0 {
			if err := b.PublishEvent(t.Context(), testEvent(i)); err != nil {
				t.Fatal(err)
			}
			want = append(want, fmt.Sprintf("event %d", i))
		}
	}
	if err := b.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	if got := b.LastSeq(); got != uint64(len(want)) {
		t.Errorf("LastSeq is %d, want %d", got, len(want))
	}
	for i, m := range collect(t, b, len(want), Consumer{}) {
		var got string
		switch m.Kind {
		case Frame:
			f, err := m.Frame()
			if err != nil {
				t.Fatal(err)
			}
			got = fmt.Sprintf("frame %d", f.N)
		case Sample:
			s, err := m.Sample()
			if err != nil {
				t.Fatal(err)
			}
			got = fmt.Sprintf("sample %d", s.N)
		case Event:
			e, err := m.Event()
			if err != nil {
				t.Fatal(err)
			}
			got = fmt.Sprintf("event %d", e.Flight)
		}
		if got != want[i] || m.Seq != uint64(i+1) {
			t.Fatalf("message %d: got %s at %d, want %s", i, got, m.Seq, want[i])
		}
	}
}
