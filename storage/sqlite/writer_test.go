package sqlite

import (
	"context"
	"crypto/rand"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"padlark/bus"
	"padlark/flight"
	"padlark/ingest"
)

// station is a bus and an archive with a writer between them.
type station struct {
	bus     *bus.Bus
	archive *Archive
	writer  *Writer
	end     func() error
}

func newStation(t testing.TB, dir string) *station {
	t.Helper()
	b, err := bus.Open(t.Context(), bus.Options{Station: "north-field", Dir: filepath.Join(t.TempDir(), "bus")})
	if err != nil {
		t.Fatal(err)
	}
	a, err := Open(t.Context(), filepath.Join(dir, FileName), Options{})
	if err != nil {
		t.Fatal(err)
	}
	s := &station{bus: b, archive: a, writer: NewWriter(a, b)}
	s.writer.resting = time.Second // a test need not wait as long as a card wants
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- s.writer.Run(ctx) }()
	ended := false
	s.end = func() error {
		if ended {
			return nil
		}
		ended = true
		cancel()
		return errors.Join(<-done, b.Close(), a.Close())
	}
	t.Cleanup(func() {
		if err := s.end(); err != nil {
			t.Error(err)
		}
	})
	return s
}

// await waits until the writer's state is as wanted.
func (s *station) await(t testing.TB, what string, ok func(WriterState) bool) WriterState {
	t.Helper()
	timeout := time.After(20 * time.Second)
	for {
		st, changed := s.writer.State()
		if ok(st) {
			return st
		}
		select {
		case <-changed:
		case <-timeout:
			t.Fatalf("waited in vain for %s; state %+v", what, st)
		}
	}
}

func TestWriterCommitsInTime(t *testing.T) {
	s := newStation(t, t.TempDir())
	start := time.Now()
	for n := uint64(1); n <= 100; n++ {
		if err := s.bus.PublishFrame(t.Context(), testFrame("pad-radio", n)); err != nil {
			t.Fatal(err)
		}
	}
	s.await(t, "the frames", func(w WriterState) bool { return w.Seq >= 100 })
	if d := time.Since(start); d < s.writer.resting/2 || d > 2*s.writer.resting {
		t.Errorf("frames were committed after %s, want about %s", d, s.writer.resting)
	}
	// An event does not wait for that.
	start = time.Now()
	if err := s.bus.PublishFrame(t.Context(), testFrame("pad-radio", 101)); err != nil {
		t.Fatal(err)
	}
	if err := s.bus.PublishEvent(t.Context(), liftoff("Teal", 1, epoch)); err != nil {
		t.Fatal(err)
	}
	s.await(t, "the event", func(w WriterState) bool { return w.Seq >= 102 })
	if d := time.Since(start); d > 500*time.Millisecond {
		t.Errorf("the event was committed after %s, want at once", d)
	}
	// A rocket flies now: 0.2 s.
	if got := s.writer.wait(); got != commitEveryFlying {
		t.Errorf("commits every %s in flight", got)
	}
	down := flight.Event{Session: "s1", ID: "Teal/1/touchdown", At: epoch, CalledAt: epoch, Rocket: "Teal", Kind: flight.Touchdown, Flight: 1}
	if err := s.bus.PublishEvent(t.Context(), down); err != nil {
		t.Fatal(err)
	}
	s.await(t, "the touchdown", func(w WriterState) bool { return w.Seq >= 103 })
	if got := s.writer.wait(); got != s.writer.resting {
		t.Errorf("commits every %s after the touchdown", got)
	}
}

func TestDrainAtTheEnd(t *testing.T) {
	dir := t.TempDir()
	s := newStation(t, dir)
	var want []ingest.Frame
	for n := uint64(1); n <= 3000; n++ {
		f := testFrame("pad-radio", n)
		want = append(want, f)
		if err := s.bus.PublishFrame(t.Context(), f); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.bus.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := s.writer.Drain(t.Context(), s.bus.LastSeq()); err != nil {
		t.Fatal(err)
	}
	if err := s.end(); err != nil {
		t.Fatal(err)
	}
	a := openAt(t, filepath.Join(dir, FileName))
	if diff := cmp.Diff(want, readFrames(t, a, FrameFilter{})); diff != "" {
		t.Errorf("(-want +got):\n%.2000s", diff)
	}
}

// TestFullDisk fills a small file system of its own under a running writer.
func TestFullDisk(t *testing.T) {
	if os.Getuid() != 0 {
		need(t, "only root can mount the small file system this needs")
	}
	dir := t.TempDir()
	if out, err := exec.Command("mount", "-t", "tmpfs", "-o", "size=2m", "none", dir).CombinedOutput(); err != nil {
		need(t, "cannot mount a small file system: "+string(out))
	}
	t.Cleanup(func() {
		if out, err := exec.Command("umount", dir).CombinedOutput(); err != nil {
			t.Errorf("umount: %v: %s", err, out)
		}
	})
	s := newStation(t, dir)
	defer s.end()
	ballast := filepath.Join(dir, "ballast")
	if err := os.WriteFile(ballast, make([]byte, 1200<<10), 0o644); err != nil {
		t.Fatal(err)
	}
	const n = 6000 // some 2 MB that cannot be packed, and the log
	for i := uint64(1); i <= n; i++ {
		f := testFrame("pad-radio", i)
		f.Bytes = make([]byte, 300)
		_, _ = rand.Read(f.Bytes) // it never fails
		if err := s.bus.PublishFrame(t.Context(), f); err != nil {
			t.Fatal(err)
		}
		if err := s.bus.PublishSample(t.Context(), testSample("Teal", "pad-radio", i)); err != nil {
			t.Fatal(err)
		}
	}
	st := s.await(t, "a full disk", func(w WriterState) bool { return w.Trouble != nil })
	if !errors.Is(st.Trouble, ErrFull) || strings.Contains(st.Trouble.Error(), "\n") {
		t.Errorf("full disk: %v", st.Trouble)
	}
	t.Logf("full after %d messages: %v", st.Written, st.Trouble)
	if err := os.Remove(ballast); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("mount", "-o", "remount,size=64m", dir).CombinedOutput(); err != nil {
		t.Fatalf("remount: %v: %s", err, out)
	}
	s.await(t, "recovery", func(w WriterState) bool { return w.Trouble == nil && w.Seq >= 2*n })
	if got := len(readFrames(t, s.archive, FrameFilter{})); got != n {
		t.Errorf("%d frames, want %d", got, n)
	}
	if got := len(readSamples(t, s.archive, Query{})); got != n {
		t.Errorf("%d samples, want %d", got, n)
	}
	if err := s.end(); err != nil {
		t.Error(err)
	}
}
