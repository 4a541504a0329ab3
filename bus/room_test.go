package bus

import (
	"os"
	"path/filepath"
	"testing"
	"time"
)

// A loss of power may leave the checksum of the stream's description empty: the
// messages are still there, and the next start is an ordinary one.
func TestEmptyChecksum(t *testing.T) {
	dir := t.TempDir()
	b := open(t, Options{Dir: dir})
	const n = 500
	for i := uint64(1); i <= n; i++ {
		if err := b.PublishFrame(t.Context(), testFrame(i)); err != nil {
			t.Fatal(err)
		}
	}
	if err := b.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	sums, err := filepath.Glob(filepath.Join(dir, "jetstream", "*", "streams", "*", "meta.sum"))
	if err != nil || len(sums) != 1 {
		t.Fatalf("%v, %v", sums, err)
	}
	if err := os.WriteFile(sums[0], nil, 0o600); err != nil {
		t.Fatal(err)
	}
	b = open(t, Options{Dir: dir})
	checkFrames(t, collect(t, b, n, Consumer{Kinds: []Kind{Frame}}), n)
	if st, err := os.Stat(sums[0]); err != nil || st.Size() == 0 {
		t.Errorf("the checksum is not mended: %v, %v", st, err)
	}
}

// Trim drops what the durable consumer has acknowledged and nothing else; Limit
// bounds the stream at once.
func TestTrimAndLimit(t *testing.T) {
	b := open(t, Options{Dir: t.TempDir()})
	first := func() uint64 {
		s, err := b.js.Stream(t.Context(), b.opts.Stream)
		if err != nil {
			t.Fatal(err)
		}
		return s.CachedInfo().State.FirstSeq
	}
	publishFrames(t, b, 1, 200)
	if err := b.Trim(t.Context(), "archive"); err != nil || first() != 1 {
		t.Errorf("without a consumer the stream begins at %d, %v", first(), err)
	}
	collect(t, b, 200, Consumer{Durable: "archive", Kinds: []Kind{Frame}})
	publishFrames(t, b, 201, 300)
	for deadline := time.Now().Add(5 * time.Second); first() == 1 && time.Now().Before(deadline); {
		if err := b.Trim(t.Context(), "archive"); err != nil {
			t.Fatal(err)
		}
	}
	if got := first(); got < 2 || got > 201 {
		t.Errorf("after Trim the stream begins at %d, want at most 201", got)
	}
	before := first()
	if err := b.Limit(t.Context(), 10<<10); err != nil {
		t.Fatal(err)
	}
	if first() <= before {
		t.Error("Limit dropped nothing")
	}
	if err := b.Limit(t.Context(), 0); err != nil {
		t.Fatal(err)
	}
	publishFrames(t, b, 301, 600)
	if got := first(); got > 301 {
		t.Errorf("the bound is still there: the stream begins at %d", got)
	}
}

// What is old is dropped when the archive has it, and else stays however old the
// clock makes it look: the server itself goes by no age, not at a start either.
func TestTrimOld(t *testing.T) {
	dir := t.TempDir()
	b := open(t, Options{Dir: dir, MaxAge: time.Nanosecond})
	want := func(what string, seq uint64) {
		t.Helper()
		s, err := b.js.Stream(t.Context(), b.opts.Stream)
		if err != nil {
			t.Fatal(err)
		}
		if got := s.CachedInfo().State.FirstSeq; got != seq {
			t.Errorf("%s: the stream begins at %d, want %d", what, got, seq)
		}
	}
	publishFrames(t, b, 1, 1000)
	if err := b.TrimOld(t.Context(), "archive"); err != nil {
		t.Fatal(err)
	}
	want("nobody has read it", 1)
	collect(t, b, 60, Consumer{Durable: "archive", Kinds: []Kind{Frame}, MaxBatch: 60})
	if err := b.WaitConsumed(t.Context(), "archive", 60); err != nil {
		t.Fatal(err)
	}
	s, err := b.js.Stream(t.Context(), b.opts.Stream)
	if err != nil {
		t.Fatal(err)
	}
	m, err := s.GetMsg(t.Context(), 31)
	if err != nil {
		t.Fatal(err)
	}
	if err := b.trimBefore(t.Context(), "archive", m.Time); err != nil {
		t.Fatal(err)
	}
	want("before the 31st", 31)
	if err := b.Close(); err != nil {
		t.Fatal(err)
	}
	b = open(t, Options{Dir: dir, MaxAge: time.Nanosecond})
	want("after a start with everything too old", 31)
	read, err := b.floor(t.Context(), "archive") // 60, or more if another batch came through
	if err != nil {
		t.Fatal(err)
	}
	if err := b.TrimOld(t.Context(), "archive"); err != nil {
		t.Fatal(err)
	}
	want("all too old", read+1)
	if read >= 1000 {
		t.Error("all is read: the test shows nothing")
	}
}
