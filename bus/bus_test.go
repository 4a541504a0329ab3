package bus

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/nats-io/nats.go"

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

func testFrame(n uint64) *ingest.Frame {
	mono := int64(n) * 20_000_000
	return &ingest.Frame{
		Session: "s1", Link: "pad-radio", N: n, Heard: epoch.Add(time.Duration(mono)),
		Mono: mono, Passed: mono + 1000, Wire: 24, Baud: 9600, Bytes: []byte{1, 7, byte(n), byte(n >> 8)},
	}
}

func testSample(n uint64) *decode.Sample {
	f := testFrame(n)
	return &decode.Sample{
		Session: f.Session, Link: f.Link, N: n, Rocket: "Teal", Boot: 1, Seq: int64(n), Clock: f.Mono / 1000,
		Heard: f.Heard, At: f.Heard.Add(-25 * time.Millisecond), Passed: f.Passed,
		Values: decode.Channels{Names: []string{"cell_v", "pressure_pa"}, Values: []float64{3.91, 101000.5 + float64(n)}},
	}
}

func testEvent(n int) *flight.Event {
	return &flight.Event{Session: "s1", ID: fmt.Sprintf("Teal/%d/liftoff", n), At: epoch, CalledAt: epoch, Rocket: "Teal", Kind: flight.Liftoff, Flight: n}
}

// dropped is how many messages the viewers of a bus have missed.
func dropped(b *Bus) (n uint64) {
	b.viewers.Range(func(v, _ any) bool {
		n += v.(*viewer).dropped()
		return true
	})
	return n
}

// soon is a context that ends a failing test.
func soon(t testing.TB) context.Context {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	t.Cleanup(cancel)
	return ctx
}

// What is published comes in its order, over all kinds, and as it was.
func TestOrderAcrossKinds(t *testing.T) {
	b := open(t, Options{})
	var got []Msg // without a lock: Settle is what orders the access
	stop, err := b.Subscribe(nil, func(m Msg) { got = append(got, m) })
	if err != nil {
		t.Fatal(err)
	}
	defer stop()
	const n = 2000
	var want []string
	passed := int64(0)
	for i := 1; i <= n; i++ {
		if err := errors.Join(b.PublishFrame(testFrame(uint64(i))), b.PublishSample(testSample(uint64(i)), passed)); err != nil {
			t.Fatal(err)
		}
		passed = testFrame(uint64(i)).Passed
		want = append(want, fmt.Sprintf("frame %d", i), fmt.Sprintf("sample %d", i))
		if i%500 == 0 {
			if err := b.PublishEvent(testEvent(i)); err != nil {
				t.Fatal(err)
			}
			want = append(want, fmt.Sprintf("event %d", i))
		}
		if i%100 == 0 { // or the buffer of a viewer may be too small
			if err := b.Settle(soon(t)); err != nil {
				t.Fatal(err)
			}
		}
	}
	if len(got) != len(want) {
		t.Fatalf("%d messages came, %d were published", len(got), len(want))
	}
	last := int64(0)
	for i, m := range got {
		var is string
		switch m.Kind {
		case Frame:
			f, err := m.Frame()
			if err != nil {
				t.Fatal(err)
			}
			is = fmt.Sprintf("frame %d", f.N)
		case Sample:
			s, after, err := m.Sample()
			if err != nil {
				t.Fatal(err)
			}
			if after != last {
				t.Fatalf("sample %d says that it comes after %d, and the one before was of %d", s.N, after, last)
			}
			last = s.Passed
			if s.N == 7 {
				if d := cmp.Diff(*testSample(7), s); d != "" {
					t.Errorf("sample (-want +got):\n%s", d)
				}
			}
			is = fmt.Sprintf("sample %d", s.N)
		case Event:
			e, err := m.Event()
			if err != nil {
				t.Fatal(err)
			}
			is = fmt.Sprintf("event %d", e.Flight)
		}
		if is != want[i] || !strings.HasPrefix(m.Subject, "padlark.north-field.") {
			t.Fatalf("message %d: got %s on %s, want %s", i, is, m.Subject, want[i])
		}
	}
	if sent := b.nc.Stats().OutMsgs; sent != uint64(len(want)) || dropped(b) != 0 {
		t.Errorf("%d messages sent and %d dropped, of %d", sent, dropped(b), len(want))
	}
}

// JSON is made only while somebody listens to it.
func TestNobodyListens(t *testing.T) {
	b := open(t, Options{})
	stop, err := b.Subscribe([]Kind{Alarm}, func(Msg) {})
	if err != nil {
		t.Fatal(err)
	}
	defer stop()
	f := testFrame(1)
	allocs := testing.AllocsPerRun(100, func() {
		if err := b.PublishFrame(f); err != nil {
			t.Fatal(err)
		}
	})
	if sent := b.nc.Stats().OutMsgs; sent != 0 {
		t.Errorf("%d messages were made that nobody asked for", sent)
	}
	t.Logf("%.0f allocations a frame", allocs)
}

func TestClosed(t *testing.T) {
	b, err := Open(t.Context(), Options{Station: "north-field"})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := b.Subscribe([]Kind{Frame}, func(Msg) {}); err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(b.Close(), b.Close()); err != nil {
		t.Errorf("closed twice: %v", err)
	}
	if _, err := b.Subscribe(nil, func(Msg) {}); err == nil {
		t.Error("a closed bus can be listened to")
	}
	if _, err := b.Subscribe([]Kind{"weather"}, func(Msg) {}); err == nil {
		t.Error("a kind that is none")
	}
}

// TestSlowViewer: one that is too slow misses some and hinders nobody.
func TestSlowViewer(t *testing.T) {
	b := open(t, Options{})
	release := make(chan struct{})
	var seen, other atomic.Uint64
	stop, err := b.Subscribe([]Kind{Frame}, func(Msg) { <-release; seen.Add(1) })
	if err != nil {
		t.Fatal(err)
	}
	stopOther, err := b.Subscribe([]Kind{Event}, func(Msg) { other.Add(1) })
	if err != nil {
		t.Fatal(err)
	}
	defer stopOther()
	const n = Buffer + 3000
	for i := uint64(1); i <= n; i++ {
		if err := b.PublishFrame(testFrame(i)); err != nil {
			t.Fatal(err)
		}
	}
	if err := b.PublishEvent(testEvent(1)); err != nil {
		t.Fatal(err)
	}
	if err := b.nc.FlushWithContext(soon(t)); err != nil {
		t.Fatal(err)
	}
	// One is being shown, and the buffer is full.
	if lost := dropped(b); lost < n-Buffer-1 || lost > n-Buffer {
		t.Errorf("%d dropped of %d with a buffer of %d", lost, n, Buffer)
	}
	close(release)
	if err := b.Settle(soon(t)); err != nil {
		t.Fatal(err)
	}
	if other.Load() != 1 {
		t.Error("another viewer was hindered")
	}
	if lost := dropped(b); seen.Load()+lost != n {
		t.Errorf("%d seen and %d dropped, of %d", seen.Load(), lost, n)
	}
	stop()
}

// TestSettle: when it returns, each viewer has been called for all that was
// published; a viewer that hangs holds it up only as long as the caller wants.
func TestSettle(t *testing.T) {
	b := open(t, Options{})
	ctx := soon(t)
	seen := make([]int, 3) // without a lock: Settle is what orders the access
	for i := range seen {
		stop, err := b.Subscribe([]Kind{Frame}, func(Msg) { seen[i]++ })
		if err != nil {
			t.Fatal(err)
		}
		defer stop()
	}
	for n := 1; n <= 200; n++ {
		if err := b.PublishFrame(testFrame(uint64(n))); err != nil {
			t.Fatal(err)
		}
		if err := b.Settle(ctx); err != nil {
			t.Fatal(err)
		}
		for i, got := range seen {
			if got != n {
				t.Fatalf("viewer %d was called %d times for %d frames", i, got, n)
			}
		}
	}
	release := make(chan struct{})
	stop, err := b.Subscribe([]Kind{Frame}, func(Msg) { <-release })
	if err != nil {
		t.Fatal(err)
	}
	if err := b.PublishFrame(testFrame(201)); err != nil {
		t.Fatal(err)
	}
	short, end := context.WithTimeout(t.Context(), 50*time.Millisecond)
	defer end()
	if err := b.Settle(short); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("with a viewer that hangs: %v", err)
	}
	close(release)
	stop()
	if err := b.Settle(ctx); err != nil {
		t.Errorf("after it has left: %v", err)
	}
}

// BenchmarkPublish is what a frame costs on the bus with one viewer in the
// process, BenchmarkPublishNobody without.
func BenchmarkPublish(b *testing.B) {
	x := open(b, Options{})
	stop, err := x.Subscribe([]Kind{Frame}, func(Msg) {})
	if err != nil {
		b.Fatal(err)
	}
	defer stop()
	publishAll(b, x)
}

func BenchmarkPublishNobody(b *testing.B) { publishAll(b, open(b, Options{})) }

func publishAll(b *testing.B, x *Bus) {
	b.Helper()
	f := testFrame(1)
	b.ReportAllocs()
	for b.Loop() {
		if err := x.PublishFrame(f); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "frames/s")
}

// Within the daemon samples come in their compact form; JSON of them is made for
// whoever listens from outside, and says the same.
func TestSamplesForOutsiders(t *testing.T) {
	b := open(t, Options{})
	var got []decode.Sample
	stop, err := b.Subscribe([]Kind{Sample}, func(m Msg) {
		s, _, err := m.Sample()
		if err != nil {
			t.Error(err)
		}
		got = append(got, s)
	})
	if err != nil {
		t.Fatal(err)
	}
	defer stop()
	outside := make(chan *nats.Msg, 4)
	publish := func(n uint64, messages uint64) {
		t.Helper()
		before := b.nc.Stats().OutMsgs
		if err := errors.Join(b.PublishSample(testSample(n), int64(n-1)), b.Settle(soon(t))); err != nil {
			t.Fatal(err)
		}
		if sent := b.nc.Stats().OutMsgs - before; sent != messages {
			t.Errorf("%d messages were sent for sample %d, want %d", sent, n, messages)
		}
	}
	publish(1, 1)
	nc, err := b.server.connect(Options{Station: "outside"})
	if err != nil {
		t.Fatal(err)
	}
	defer nc.Close()
	if _, err := nc.ChanSubscribe("padlark.>", outside); err != nil {
		t.Fatal(err)
	}
	if err := nc.Flush(); err != nil {
		t.Fatal(err)
	}
	publish(2, 2)
	select {
	case m := <-outside:
		s, after, err := (Msg{Kind: Sample, Data: m.Data}).Sample()
		if err != nil || after != 1 {
			t.Fatalf("after %d, %v", after, err)
		}
		if d := cmp.Diff([]decode.Sample{*testSample(1), s}, got); d != "" {
			t.Errorf("(-outside +inside) %s", d)
		}
	case <-soon(t).Done():
		t.Fatal("nothing came to the outsider")
	}
}
