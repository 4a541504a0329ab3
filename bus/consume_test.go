package bus

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync/atomic"
	"testing"
	"time"
)

// TestHandlerFails gives the same batch again until the handler takes it.
func TestHandlerFails(t *testing.T) {
	for _, durable := range []string{"", "archive"} {
		t.Run("durable="+durable, func(t *testing.T) {
			b := open(t, Options{})
			for n := uint64(1); n <= 200; n++ {
				if err := b.PublishFrame(t.Context(), testFrame(n)); err != nil {
					t.Fatal(err)
				}
			}
			if err := b.Flush(t.Context()); err != nil {
				t.Fatal(err)
			}
			ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
			defer cancel()
			var taken []Msg
			calls := 0
			// AckWait is shorter than the handler's failing lasts: the server must
			// be told that the messages are being worked on.
			c := Consumer{Durable: durable, MaxBatch: 64, AckWait: 150 * time.Millisecond, RetryMin: 20 * time.Millisecond, RetryMax: 60 * time.Millisecond}
			err := b.Consume(ctx, c, func(_ context.Context, ms []Msg) error {
				if calls++; calls > 1 && calls < 12 || calls == 13 {
					return errors.New("disk is full")
				}
				taken = append(taken, ms...)
				if len(taken) >= 200 {
					cancel()
				}
				return nil
			})
			if err != nil {
				t.Fatal(err)
			}
			checkFrames(t, taken, 200)
			if got := b.Counters().HandlerErrs; got != 11 {
				t.Errorf("%d failures counted, want 11", got)
			}
		})
	}
}

func TestDurableGoesOn(t *testing.T) {
	dir := t.TempDir()
	var got []Msg
	next := uint64(0)
	for round := range 4 {
		b, err := Open(t.Context(), Options{Station: "north-field", Dir: dir})
		if err != nil {
			t.Fatal(err)
		}
		for range 100 {
			next++
			if err := b.PublishFrame(t.Context(), testFrame(next)); err != nil {
				t.Fatal(err)
			}
		}
		if err := b.Flush(t.Context()); err != nil {
			t.Fatal(err)
		}
		if round != 2 { // in one round nobody reads
			ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
			err = b.Consume(ctx, Consumer{Durable: "archive"}, func(_ context.Context, ms []Msg) error {
				got = append(got, ms...)
				if len(got) >= int(next) {
					cancel()
				}
				return nil
			})
			cancel()
			if err != nil {
				t.Fatal(err)
			}
			if err := b.WaitConsumed(t.Context(), "archive", b.LastSeq()); err != nil {
				t.Fatal(err)
			}
		}
		awaitPending(t, b, map[bool]uint64{true: 100}[round == 2])
		if err := b.Close(); err != nil {
			t.Fatal(err)
		}
	}
	checkFrames(t, got, 400)
}

// awaitPending waits until so many messages are pending for the archive; the
// server counts new ones a moment after storing them.
func awaitPending(t *testing.T, b *Bus, want uint64) {
	t.Helper()
	for end := time.Now().Add(5 * time.Second); ; {
		got, err := b.Pending(t.Context(), "archive")
		if err == nil && got == want {
			return
		}
		if err != nil || time.Now().After(end) {
			t.Fatalf("%d pending, want %d: %v", got, want, err)
		}
	}
}

// TestKilledBeforeAck: what was handled and not acknowledged comes again.
func TestKilledBeforeAck(t *testing.T) {
	dir := t.TempDir()
	b, err := Open(t.Context(), Options{Station: "north-field", Dir: dir})
	if err != nil {
		t.Fatal(err)
	}
	for n := uint64(1); n <= 10; n++ {
		if err := b.PublishFrame(t.Context(), testFrame(n)); err != nil {
			t.Fatal(err)
		}
	}
	if err := b.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	stop := fmt.Errorf("killed: %w", ErrStop)
	err = b.Consume(t.Context(), Consumer{Durable: "archive"}, func(context.Context, []Msg) error { return stop })
	if !errors.Is(err, ErrStop) {
		t.Fatalf("Consume: %v", err)
	}
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	b = open(t, Options{Dir: dir})
	got := collect(t, b, 10, Consumer{Durable: "archive", AckWait: 200 * time.Millisecond})
	slices.SortFunc(got, func(x, y Msg) int { return int(x.Seq) - int(y.Seq) })
	checkFrames(t, got, 10)
}

func TestBatching(t *testing.T) {
	b := open(t, Options{Memory: true})
	publish := func(v ...any) {
		for _, x := range v {
			var err error
			switch x := x.(type) {
			case int:
				err = b.PublishFrame(t.Context(), testFrame(uint64(x)))
			case string:
				err = b.PublishEvent(t.Context(), testEvent(len(x)))
			}
			if err != nil {
				t.Fatal(err)
			}
		}
	}
	hurry := make(chan struct{})
	batches := make(chan []Msg)
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error)
	go func() {
		done <- b.Consume(ctx, Consumer{Durable: "archive", MaxWait: time.Hour, MaxBatch: 5, Urgent: []Kind{Event}, Hurry: hurry}, func(_ context.Context, ms []Msg) error {
			batches <- slices.Clone(ms)
			return nil
		})
	}()
	publish(1, 2, 3, 4, 5, 6, 7)
	if got := len(<-batches); got != 5 {
		t.Errorf("a full batch has %d messages, want 5", got)
	}
	publish("e")
	if got := <-batches; len(got) != 3 || got[2].Kind != Event {
		t.Errorf("an event ends the batch: got %d messages", len(got))
	}
	publish(8)
	hurry <- struct{}{}
	if got := len(<-batches); got != 1 {
		t.Errorf("in a hurry: %d messages, want 1", got)
	}
	cancel()
	if err := <-done; err != nil {
		t.Error(err)
	}
}

// TestLowLatency: without a MaxWait a message is handed over at once.
func TestLowLatency(t *testing.T) {
	b := open(t, Options{})
	got := make(chan Msg, 1)
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error)
	go func() {
		done <- b.Consume(ctx, Consumer{}, func(_ context.Context, ms []Msg) error {
			for _, m := range ms {
				got <- m
			}
			return nil
		})
	}()
	var worst, sum time.Duration
	const n = 100
	for i := uint64(1); i <= n; i++ {
		start := time.Now()
		if err := b.PublishFrame(t.Context(), testFrame(i)); err != nil {
			t.Fatal(err)
		}
		<-got
		if d := time.Since(start); i > 1 {
			worst, sum = max(worst, d), sum+d
		}
	}
	t.Logf("publish to handler: mean %s, worst %s", sum/(n-1), worst)
	if mean := sum / (n - 1); mean > 20*time.Millisecond {
		t.Errorf("mean latency %s", mean)
	}
	cancel()
	if err := <-done; err != nil {
		t.Error(err)
	}
}

func TestStartInTheMiddle(t *testing.T) {
	b := open(t, Options{})
	for n := uint64(1); n <= 50; n++ {
		if err := b.PublishFrame(t.Context(), testFrame(n)); err != nil {
			t.Fatal(err)
		}
		if n%5 == 0 {
			if err := b.PublishEvent(t.Context(), testEvent(int(n))); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := b.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	mid := b.LastSeq() + 1
	now := time.Now()
	if err := b.PublishFrame(t.Context(), testFrame(51)); err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]Consumer{
		"by sequence":          {StartSeq: mid},
		"by time":              {StartTime: now},
		"durable, by sequence": {StartSeq: mid, Durable: "late"},
	} {
		ms := collect(t, b, 1, c)
		if f, err := ms[0].Frame(); err != nil || f.N != 51 || len(ms) != 1 {
			t.Errorf("%s: %d messages, first %d %v", name, len(ms), f.N, err)
		}
	}
	for _, m := range collect(t, b, 10, Consumer{Kinds: []Kind{Event}}) {
		if m.Kind != Event {
			t.Errorf("asked for events, got a %s", m.Kind)
		}
	}
	if err := b.Consume(t.Context(), Consumer{Kinds: []Kind{Health}}, nil); err == nil {
		t.Error("a live kind cannot be read from the stream")
	}
}

// TestSlowViewer loses some, is told how many, and hinders nobody.
func TestSlowViewer(t *testing.T) {
	b := open(t, Options{Memory: true})
	release := make(chan struct{})
	var seen atomic.Int64
	stop, err := b.Subscribe([]Kind{Frame}, func(Msg) { <-release; seen.Add(1) })
	if err != nil {
		t.Fatal(err)
	}
	const n = liveBuffer + 3000
	for i := uint64(1); i <= n; i++ {
		if err := b.PublishFrame(t.Context(), testFrame(i)); err != nil {
			t.Fatal(err)
		}
	}
	if err := b.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	dropped := b.Counters().LiveDropped
	close(release)
	stop()
	if dropped == 0 || dropped > n-liveBuffer {
		t.Errorf("%d dropped of %d with a buffer of %d", dropped, n, liveBuffer)
	}
	if after := b.Counters().LiveDropped; after < dropped {
		t.Errorf("count fell from %d to %d when the viewer left", dropped, after)
	}
	checkFrames(t, collect(t, b, n, Consumer{}), n)
}

// TestSettle: when it returns, each viewer has been called for all that was
// published; a viewer that hangs holds it up only as long as the caller wants.
func TestSettle(t *testing.T) {
	b := open(t, Options{Memory: true})
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	seen := make([]int, 3) // without a lock: Settle is what orders the access
	for i := range seen {
		stop, err := b.Subscribe([]Kind{Frame}, func(Msg) { seen[i]++ })
		if err != nil {
			t.Fatal(err)
		}
		defer stop()
	}
	for n := 1; n <= 200; n++ {
		if err := b.PublishFrame(t.Context(), testFrame(uint64(n))); err != nil {
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
	if err := b.PublishFrame(t.Context(), testFrame(201)); err != nil {
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
