package bus

import (
	"context"
	"errors"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"pgregory.net/rapid"
)

func TestReopenKeepsEverything(t *testing.T) {
	dir := t.TempDir()
	const rounds, per = 3, 500
	for round := range rounds {
		b, err := Open(t.Context(), Options{Station: "north-field", Dir: dir})
		if err != nil {
			t.Fatal(err)
		}
		if got := b.LastSeq(); got != uint64(round*per) {
			t.Errorf("round %d: LastSeq is %d at the start", round, got)
		}
		for n := 1; n <= per; n++ {
			if err := b.PublishFrame(t.Context(), testFrame(uint64(round*per+n))); err != nil {
				t.Fatal(err)
			}
		}
		// No Flush: Close sends what is queued.
		if err := b.Close(); err != nil {
			t.Fatal(err)
		}
		if err := b.PublishFrame(t.Context(), testFrame(1)); !errors.Is(err, ErrClosed) {
			t.Errorf("publish after close: %v", err)
		}
	}
	b := open(t, Options{Dir: dir})
	checkFrames(t, collect(t, b, rounds*per, Consumer{}), rounds*per)
}

func TestDuplicatesAreDropped(t *testing.T) {
	b := open(t, Options{})
	// Runs of new frames with old ones between them, so that duplicates fall in
	// the middle of a pipelined window.
	for _, n := range []uint64{1, 2, 3, 2, 4, 5, 1, 1, 6, 7, 7, 8, 3, 9} {
		if err := b.PublishFrame(t.Context(), testFrame(n)); err != nil {
			t.Fatal(err)
		}
	}
	if err := b.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	checkFrames(t, collect(t, b, 9, Consumer{}), 9)
	if c := b.Counters(); c.Duplicates != 5 || c.Acked != 14 {
		t.Errorf("counted %d duplicates of %d, want 5 of 14", c.Duplicates, c.Acked)
	}
}

// TestBackPressure takes the server away and sees that publishing blocks at the
// bound, and that nothing is lost when it is back.
func TestBackPressure(t *testing.T) {
	dir := t.TempDir()
	s := outside(t, func(o *server.Options) { o.StoreDir = dir })
	port := s.Addr().(*net.TCPAddr).Port
	b := open(t, Options{URL: s.ClientURL(), Queue: 100, AckTimeout: 500 * time.Millisecond})
	if err := b.PublishFrame(t.Context(), testFrame(1)); err != nil {
		t.Fatal(err)
	}
	if err := b.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	s.Shutdown()
	s.WaitForShutdown()
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Second)
	defer cancel()
	n := uint64(1) // taken so far
	var err error
	for {
		if err = b.PublishFrame(ctx, testFrame(n+1)); err != nil {
			break
		}
		n++
	}
	if !errors.Is(err, context.DeadlineExceeded) {
		t.Fatalf("publishing without a server: %v", err)
	}
	if limit := uint64(100 + inFlight + 2); n > limit || n < 100 {
		t.Errorf("%d were taken, want the queue and the window, at most %d", n, limit)
	}
	c := b.Counters()
	if c.Blocked == 0 || c.Trouble == "" || c.Queued != int(n-1) {
		t.Errorf("counters do not tell: %+v", c)
	}
	outside(t, func(o *server.Options) { o.StoreDir, o.Port = dir, port })
	flushed, stop := context.WithTimeout(t.Context(), 20*time.Second)
	defer stop()
	if err := b.Flush(flushed); err != nil {
		t.Fatal(err)
	}
	checkFrames(t, collect(t, b, int(n), Consumer{}), int(n))
	if c := b.Counters(); c.Trouble != "" {
		t.Errorf("still in trouble: %s", c.Trouble)
	}
}

func TestTooLarge(t *testing.T) {
	b := open(t, Options{})
	f := testFrame(1)
	f.Bytes = make([]byte, 2<<20)
	if err := b.PublishFrame(t.Context(), f); !errors.Is(err, ErrTooLarge) {
		t.Errorf("2 MiB frame: %v", err)
	}
	if err := b.PublishFrame(t.Context(), testFrame(2)); err != nil {
		t.Error(err)
	}
}

// TestTickFollows checks that a tick comes after the messages before it are in
// the stream, and says which the last was.
func TestTickFollows(t *testing.T) {
	b := open(t, Options{})
	got := make(chan Tick, 100)
	stop, err := b.Subscribe([]Kind{Ticks}, func(m Msg) {
		k, err := m.Tick()
		if err != nil {
			t.Error(err)
		}
		got <- k
	})
	if err != nil {
		t.Fatal(err)
	}
	defer stop()
	for i := range 20 {
		for n := range 10 {
			if err := b.PublishFrame(t.Context(), testFrame(uint64(10*i+n+1))); err != nil {
				t.Fatal(err)
			}
		}
		if err := b.PublishTick(Tick{Session: "s1", Epoch: epoch, Mono: int64(i) * 200e6, AfterPassed: int64(i)}); err != nil {
			t.Fatal(err)
		}
		k := <-got
		if want := uint64(10 * (i + 1)); k.After != want || k.Mono != int64(i)*200e6 || !k.Epoch.Equal(epoch) {
			t.Errorf("tick %d: %+v, want after %d", i, k, want)
		}
	}
}

// TestManyPublishers shares one bus among goroutines; each one's order is kept.
func TestManyPublishers(t *testing.T) {
	b := open(t, Options{Memory: true, Queue: 16})
	const links, per = 8, 500
	var wg sync.WaitGroup
	for l := range links {
		wg.Go(func() {
			for n := uint64(1); n <= per; n++ {
				f := testFrame(n)
				f.Link = strings.Repeat("x", l+1)
				if err := b.PublishFrame(t.Context(), f); err != nil {
					t.Error(err)
				}
			}
		})
	}
	wg.Wait()
	if err := b.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	next := map[string]uint64{}
	for _, m := range collect(t, b, links*per, Consumer{}) {
		f, err := m.Frame()
		if err != nil {
			t.Fatal(err)
		}
		if next[f.Link]++; f.N != next[f.Link] {
			t.Fatalf("link %s: frame %d, want %d", f.Link, f.N, next[f.Link])
		}
	}
}

// TestIntruder writes into the stream behind the publisher's back; what it
// publishes afterwards still arrives, once and in order.
func TestIntruder(t *testing.T) {
	b := open(t, Options{Listen: "127.0.0.1:0"})
	nc, err := nats.Connect("nats://" + b.Addr())
	if err != nil {
		t.Fatal(err)
	}
	defer nc.Close()
	for n := uint64(1); n <= 300; n++ {
		if err := b.PublishFrame(t.Context(), testFrame(n)); err != nil {
			t.Fatal(err)
		}
		if n%50 == 0 {
			if _, err := nc.Request(Subject("north-field", Event, "Teal"), []byte(`{"kind":"none"}`), 5*time.Second); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := b.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	checkFrames(t, collect(t, b, 300, Consumer{Kinds: []Kind{Frame}}), 300)
}

func TestToken(t *testing.T) {
	for name, want := range map[string]string{
		"Teal": "Teal", "": "=", "Big Red": "Big=20Red", "a.b": "a=2Eb", "*": "=2A", ">": "=3E",
		"Grün": "Gr=C3=BCn", "=": "=3D", "pad-radio_2": "pad-radio_2",
	} {
		if got := Token(name); got != want {
			t.Errorf("Token(%q) = %q, want %q", name, got, want)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		a, b := rapid.String().Draw(t, "a"), rapid.String().Draw(t, "b")
		ta, tb := Token(a), Token(b)
		if (a == b) != (ta == tb) {
			t.Fatalf("%q and %q give %q and %q", a, b, ta, tb)
		}
		if ta == "" || strings.ContainsAny(ta, " .*>\t\r\n") {
			t.Fatalf("%q gives %q", a, ta)
		}
		if k := kindOf(Subject(a, Sample, b)); k != Sample {
			t.Fatalf("subject %q has kind %q", Subject(a, Sample, b), k)
		}
	})
}

// TestBounded: the oldest messages give way when the stream reaches its bound.
func TestBounded(t *testing.T) {
	b := open(t, Options{MaxBytes: 256 << 10})
	const n = 3000
	for i := uint64(1); i <= n; i++ {
		if err := b.PublishFrame(t.Context(), testFrame(i)); err != nil {
			t.Fatal(err)
		}
	}
	if err := b.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	if b.LastSeq() != n {
		t.Errorf("LastSeq is %d, want %d", b.LastSeq(), n)
	}
	first := collect(t, b, 1, Consumer{})[0]
	f, err := first.Frame()
	if err != nil || f.N < n/4 || f.N == n || first.Seq != f.N {
		t.Errorf("the oldest kept is frame %d at %d: %v", f.N, first.Seq, err)
	}
}
