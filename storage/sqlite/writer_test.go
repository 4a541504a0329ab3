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
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"

	"padlark/decode"
	"padlark/flight"
	"padlark/ingest"
	"padlark/storage"
	"padlark/storage/journal"
)

// station is a journal and an archive with a writer between them.
type station struct {
	journal *journal.Journal
	archive *Archive
	writer  *Writer
	end     func() error
}

// likeFrames decodes a frame of testFrame to its testSample.
type likeFrames struct{}

func (likeFrames) Decode(f ingest.Frame) (decode.Sample, error) {
	return testSample("Teal", f.Link, f.N), nil
}

func newStation(t testing.TB, dir string) *station {
	t.Helper()
	info := ingest.CaptureInfo{Station: "north-field", Session: "s1", Epoch: epoch, Links: []ingest.CaptureLink{{Name: "pad-radio", Kind: "serial", Baud: 9600}}}
	j, err := journal.Create(filepath.Join(t.TempDir(), "journal"), info)
	if err != nil {
		t.Fatal(err)
	}
	a, err := Open(t.Context(), filepath.Join(dir, FileName), Options{})
	if err != nil {
		t.Fatal(err)
	}
	w, err := NewWriter(t.Context(), a, j, likeFrames{})
	if err != nil {
		t.Fatal(err)
	}
	s := &station{journal: j, archive: a, writer: w}
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
		return errors.Join(<-done, j.Close(0), j.Release(), a.Close())
	}
	t.Cleanup(func() {
		if err := s.end(); err != nil {
			t.Error(err)
		}
	})
	return s
}

// frames writes frames to the journal, one by one.
func (s *station) frames(t testing.TB, from, to uint64) {
	t.Helper()
	for n := from; n <= to; n++ {
		if !s.journal.Frames([]ingest.Frame{testFrame("pad-radio", n)}) {
			t.Fatal(s.journal.State().Trouble)
		}
	}
}

func (s *station) event(t testing.TB, e flight.Event) {
	t.Helper()
	if err := s.journal.Event(&e); err != nil {
		t.Fatal(err)
	}
}

// caughtUp says whether all of the journal is in the archive.
func (s *station) caughtUp(w WriterState) bool { return w.Place >= s.journal.State().End }

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

func TestWriterCommitsInTime(t *testing.T) { synctest.Test(t, commitsInTime) }

func commitsInTime(t *testing.T) {
	s := newStation(t, t.TempDir())
	n := uint64(1)
	// committed goes on with frames until what is in the journal now is archived.
	committed := func() time.Duration {
		t.Helper()
		start, place := time.Now(), s.journal.State().End
		for st, _ := s.writer.State(); st.Place < place; st, _ = s.writer.State() {
			if time.Since(start) > 2*commitLast {
				t.Fatal("nothing is committed")
			}
			<-time.After(commitIdle / 30)
			s.frames(t, n, n)
			n++
		}
		return time.Since(start)
	}
	within := func(what string, got, least, most time.Duration) {
		t.Helper()
		if got < least || got > most {
			t.Errorf("%s after %s, want %s to %s", what, got, least, most)
		}
	}
	quiet := func() {
		s.writer.mu.Lock()
		defer s.writer.mu.Unlock()
		s.writer.happened = time.Now().Add(-2 * commitLast)
	}
	s.frames(t, n, n)
	n++
	within("the first frames were committed", committed(), commitSoon, commitSoon+commitIdle/10)
	within("frames were committed", committed(), commitFirst-commitIdle/10, commitFirst+commitIdle/10)
	// The longer nothing has happened, the longer they wait.
	quiet()
	if got := s.writer.rest(); got < commitLast-time.Second || got > commitLast {
		t.Errorf("commits every %s when nothing has happened for %s", got, 2*commitLast)
	}
	committed()
	s.frames(t, n, n)
	n++
	// In a silence they do not.
	start := time.Now()
	s.await(t, "the frames before the silence", s.caughtUp)
	within("frames before a silence were committed", time.Since(start), commitIdle, 3*commitIdle)
	// Nor does an event, while frames go on coming.
	quiet()
	s.event(t, liftoff("Teal", 1, epoch))
	within("a liftoff was committed", committed(), commitSoon-commitIdle/10, commitSoon+commitIdle/10)
	quiet()
	s.event(t, liftoff("Rust", 1, epoch))
	within("one beside it was committed", committed(), commitNews-commitIdle/10, commitNews+commitIdle/10)
	if got := s.writer.rest(); got != commitFirst {
		t.Errorf("commits every %s after an event, want %s", got, commitFirst)
	}
	// A landing comes at once where a commit would be due soon, but not a second one.
	for start := time.Now(); time.Since(start) < (commitFirst+commitSoon)/2; n++ {
		<-time.After(commitIdle / 30)
		s.frames(t, n, n)
	}
	down := liftoff("Teal", 1, epoch)
	down.Kind = flight.Touchdown
	s.event(t, down)
	within("a landing was committed", committed(), 0, commitIdle/10)
	s.event(t, down)
	within("the next landing was committed", committed(), commitSoon-commitIdle/10, commitSoon+commitIdle/10)
}

func TestDrainAtTheEnd(t *testing.T) {
	dir := t.TempDir()
	s := newStation(t, dir)
	var want []ingest.Frame
	for n := uint64(1); n <= 3000; n++ {
		want = append(want, testFrame("pad-radio", n))
	}
	s.frames(t, 1, 3000)
	if err := s.writer.Drain(t.Context(), s.journal.State().End); err != nil {
		t.Fatal(err)
	}
	if err := s.end(); err != nil {
		t.Fatal(err)
	}
	a := openAt(t, filepath.Join(dir, FileName))
	if diff := cmp.Diff(want, readFrames(t, a, storage.Query{})); diff != "" {
		t.Errorf("(-want +got):\n%.2000s", diff)
	}
	if got := len(readSamples(t, a, storage.Query{})); got != 3000 {
		t.Errorf("%d samples, want 3000", got)
	}
}

// An archive goes on in the journal where it was, with the decoder as it would
// have been: the writer reads the journal from its start and stores what is new.
func TestWriterGoesOn(t *testing.T) {
	s := newStation(t, t.TempDir())
	s.frames(t, 1, 500)
	if err := s.writer.Drain(t.Context(), s.journal.State().End); err != nil {
		t.Fatal(err)
	}
	s.frames(t, 501, 900)
	seen := 0
	w, err := NewWriter(t.Context(), s.archive, s.journal, counting{&seen})
	if err != nil {
		t.Fatal(err)
	}
	place, err := s.archive.JournalPlace(t.Context(), "s1")
	if err != nil || w.follow.From != place || place == 0 {
		t.Fatalf("goes on at %d, the archive is at %d, %v", w.follow.From, place, err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- w.Run(ctx) }()
	err = w.Drain(t.Context(), s.journal.State().End)
	cancel()
	if err := errors.Join(err, <-done); err != nil {
		t.Fatal(err)
	}
	if got := len(readFrames(t, s.archive, storage.Query{})); got != 900 {
		t.Errorf("%d frames, want 900", got)
	}
	if seen != 900 {
		t.Errorf("the decoder saw %d frames, want all 900", seen)
	}
}

type counting struct{ n *int }

func (c counting) Decode(f ingest.Frame) (decode.Sample, error) {
	*c.n++
	return likeFrames{}.Decode(f)
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
		if !s.journal.Frames([]ingest.Frame{f}) {
			t.Fatal(s.journal.State().Trouble)
		}
	}
	st := s.await(t, "a full disk", func(w WriterState) bool { return w.Trouble != nil })
	if !errors.Is(st.Trouble, ErrFull) || strings.Contains(st.Trouble.Error(), "\n") {
		t.Errorf("full disk: %v", st.Trouble)
	}
	t.Logf("full after %d entries: %v", st.Written, st.Trouble)
	if err := os.Remove(ballast); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("mount", "-o", "remount,size=64m", dir).CombinedOutput(); err != nil {
		t.Fatalf("remount: %v: %s", err, out)
	}
	s.await(t, "recovery", func(w WriterState) bool { return w.Trouble == nil && s.caughtUp(w) })
	if got := len(readFrames(t, s.archive, storage.Query{})); got != n {
		t.Errorf("%d frames, want %d", got, n)
	}
	if got := len(readSamples(t, s.archive, storage.Query{})); got != n {
		t.Errorf("%d samples, want %d", got, n)
	}
	if err := s.end(); err != nil {
		t.Error(err)
	}
}
