package bus

import (
	"context"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/nats-io/nats.go/jetstream"
)

// publishFrames publishes and flushes frames.
func publishFrames(t *testing.T, b *Bus, from, to uint64) {
	t.Helper()
	for i := from; i <= to; i++ {
		if err := b.PublishFrame(t.Context(), testFrame(i)); err != nil {
			t.Fatal(err)
		}
	}
	if err := b.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
}

// readAll reads with a durable consumer until nothing is left, and returns the
// first and the last sequence; 0 if there was nothing.
func readAll(t *testing.T, b *Bus) (first, last uint64, n int) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	done := make(chan error, 1)
	go func() {
		done <- b.Consume(ctx, Consumer{Durable: "archive"}, func(_ context.Context, ms []Msg) error {
			if first == 0 {
				first = ms[0].Seq
			}
			last, n = ms[len(ms)-1].Seq, n+len(ms)
			return nil
		})
	}()
	if err := b.WaitConsumed(ctx, "archive", b.LastSeq()); err != nil {
		t.Error(err)
	}
	cancel()
	if err := <-done; err != nil {
		t.Error(err)
	}
	return first, last, n
}

func placeFile(dir string) string { return filepath.Join(dir, "places", DefaultStream+".archive") }

// A durable reader's place is kept over an ordinary end, and the server writes
// nothing for it; with an older place, or none that can be read, messages come
// again; with one beyond the stream's end, which a loss of power leaves, none of
// the new ones is missed.
func TestPlaceIsKept(t *testing.T) {
	dir := t.TempDir()
	run := func(what string, publish, wantFirst, wantLast uint64, wantPending uint64) {
		t.Helper()
		b := open(t, Options{Dir: dir})
		if got, err := b.Pending(t.Context(), "archive"); err != nil || got != wantPending {
			t.Errorf("%s: %d pending at the start, want %d: %v", what, got, wantPending, err)
		}
		if publish > 0 {
			publishFrames(t, b, b.LastSeq()+1, b.LastSeq()+publish)
		}
		first, last, n := readAll(t, b)
		if first != wantFirst || last != wantLast || wantFirst > 0 && uint64(n) != wantLast-wantFirst+1 {
			t.Errorf("%s: read %d to %d, %d messages, want %d to %d", what, first, last, n, wantFirst, wantLast)
		}
		if err := b.Close(); err != nil {
			t.Fatal(err)
		}
	}
	run("at first", 100, 1, 100, 0)
	old, err := os.ReadFile(placeFile(dir))
	if err != nil {
		t.Fatal(err)
	}
	run("nothing new", 0, 0, 0, 0)
	run("something new", 50, 101, 150, 0)
	if err := os.WriteFile(placeFile(dir), old, 0o644); err != nil {
		t.Fatal(err)
	}
	run("an older place", 0, 101, 150, 50)
	torn := append([]byte(nil), old...)
	torn[5] ^= 0x10
	if err := os.WriteFile(placeFile(dir), torn, 0o644); err != nil {
		t.Fatal(err)
	}
	run("a torn place", 0, 1, 150, 150)
	b := open(t, Options{Dir: dir})
	if err := b.savePlace("archive", 100_000); err != nil {
		t.Fatal(err)
	}
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	run("a place beyond the end", 30, 151, 180, 0)
	states, err := filepath.Glob(filepath.Join(dir, "jetstream", "*", "streams", "*", "obs", "*"))
	if err != nil || len(states) > 0 {
		t.Errorf("the server keeps %q: %v", states, err)
	}
}

// A consumer of an older version, whose place the server keeps in a file, is
// taken over where it is.
func TestOlderConsumerIsTakenOver(t *testing.T) {
	dir := t.TempDir()
	b := open(t, Options{Dir: dir})
	publishFrames(t, b, 1, 100)
	c, err := b.js.CreateConsumer(t.Context(), b.opts.Stream, jetstream.ConsumerConfig{
		Durable: "archive", FilterSubjects: b.opts.filters(Stored()), AckPolicy: jetstream.AckExplicitPolicy, MaxDeliver: -1,
	})
	if err != nil {
		t.Fatal(err)
	}
	got, err := c.Fetch(60)
	if err != nil {
		t.Fatal(err)
	}
	for m := range got.Messages() {
		if err := m.DoubleAck(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	b = open(t, Options{Dir: dir})
	if first, last, n := readAll(t, b); first != 61 || last != 100 || n != 40 {
		t.Errorf("read %d to %d, %d messages, want 61 to 100", first, last, n)
	}
	if first, _, _ := readAll(t, b); first != 0 {
		t.Errorf("message %d came again", first)
	}
}

// The server's storage that is started anew forgets its consumers; the reader
// goes on at its place.
func TestPlaceOutlivesRevival(t *testing.T) {
	b := open(t, Options{})
	publishFrames(t, b, 1, 100)
	if _, _, n := readAll(t, b); n != 100 {
		t.Fatalf("%d messages", n)
	}
	if err := b.keepPlaces(); err != nil {
		t.Fatal(err)
	}
	b.server.log.setFull()
	if err := b.server.revive(); err != nil {
		t.Fatal(err)
	}
	publishFrames(t, b, 101, 120)
	if first, last, n := readAll(t, b); first != 101 || last != 120 || n != 20 {
		t.Errorf("read %d to %d, %d messages, want 101 to 120", first, last, n)
	}
}

// A reader that is stopped while its first batch is handled has still
// acknowledged it: nothing comes again.
func TestStoppedReaderHasAcknowledged(t *testing.T) {
	b := open(t, Options{Dir: t.TempDir()})
	publishFrames(t, b, 1, 1)
	collect(t, b, 1, Consumer{Durable: "archive", MaxBatch: 1}) // stops at once
	ctx, stop := context.WithTimeout(t.Context(), 10*time.Second)
	defer stop()
	if err := b.WaitConsumed(ctx, "archive", 1); err != nil {
		t.Error(err)
	}
}

// The folder's name may have the characters of a pattern in it: what the bus
// looks for in it is found all the same.
func TestFolderWithBrackets(t *testing.T) {
	for _, name := range []string{"club [2026]", "club [2026"} {
		dir := filepath.Join(t.TempDir(), name)
		b := open(t, Options{Dir: dir})
		publishFrames(t, b, 1, 20)
		if err := b.savePlace("archive", 100_000); err != nil {
			t.Fatal(err)
		}
		if err := b.Close(); err != nil {
			t.Fatal(err)
		}
		if b.opts.ownSync() && len(b.sync.done) == 0 {
			t.Errorf("%s: no file was synced", name)
		}
		sum := filepath.Join(dir, "jetstream", "$G", "streams", DefaultStream, "meta.sum")
		if err := os.Truncate(sum, 0); err != nil {
			t.Fatal(err)
		}
		b = open(t, Options{Dir: dir})
		if place, err := b.loadPlace("archive"); err != nil || place != 20 {
			t.Errorf("%s: the place is %d, want the stream's end, 20: %v", name, place, err)
		}
		if err := b.Close(); err != nil {
			t.Fatal(err)
		}
	}
}
