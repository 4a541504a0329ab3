package station

import (
	"context"
	"errors"
	"fmt"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"padlark/bus"
	"padlark/cmd/padlark/config"
	"padlark/decode"
	"padlark/ingest"
	"padlark/watch"
)

// line is a bus and a journal that note what comes, and a watcher that is as far
// as it is told.
type line struct {
	noted   []string
	full    bool // the journal cannot write
	watched func(passed int64) error
}

func (l *line) note(format string, args ...any) {
	l.noted = append(l.noted, fmt.Sprintf(format, args...))
}

func (l *line) Frames(frames []ingest.Frame) bool {
	l.note("%d written", len(frames))
	return !l.full
}
func (l *line) PublishFrame(f *ingest.Frame) error { l.note("frame %d", f.N); return nil }
func (l *line) PublishSample(s *decode.Sample, after int64) error {
	l.note("sample %d after %d", s.Passed, after)
	return nil
}
func (l *line) PublishTick(t *bus.Tick) error { l.note("tick after %d", t.AfterPassed); return nil }
func (l *line) WaitFor(_ context.Context, passed, _ int64) error {
	if l.watched == nil {
		return nil
	}
	return l.watched(passed)
}

// newSequencer is one for frames of the built-in text layout, and count such
// frames that arrive together.
func newSequencer(t *testing.T, l *line, count int) (*sequencer, []ingest.Frame) {
	t.Helper()
	cfg, err := config.Parse("test", []byte("[station]\nname = \"north-field\"\n[[link]]\nname = \"pad\"\nudp = \":9750\"\nlayout = \"lark-text\"\n"))
	if err != nil {
		t.Fatal(err)
	}
	d, err := cfg.NewDecoder()
	if err != nil {
		t.Fatal(err)
	}
	q := &sequencer{session: "s", epoch: time.Unix(0, 0), journal: l, out: l, watch: l, decoder: d}
	text, err := decode.Compile(builtin(t, "lark-text"), nil)
	if err != nil {
		t.Fatal(err)
	}
	var frames []ingest.Frame
	for n := range count {
		data, err := text.Encode(nil, decode.Message{Rocket: 7, Seq: int64(n), Clock: int64(n) * 20_000, Values: map[string]float64{decode.PressurePa: 100000}})
		if err != nil {
			t.Fatal(err)
		}
		f := ingest.Frame{Link: "pad", N: uint64(n + 1), Mono: int64(n+1) * 20_000_000, Bytes: data}
		q.stamp(&f, time.Duration(f.Mono))
		frames = append(frames, f)
	}
	return q, frames
}

// Frames that arrived together are written together before anybody sees one,
// each sample says which one stands before it, and a frame that is not written is
// not shown, though it is watched.
func TestWrittenThenShown(t *testing.T) {
	l := &line{}
	q, frames := newSequencer(t, l, 3)
	if err := q.pass(t.Context(), frames[:2]); err != nil {
		t.Fatal(err)
	}
	l.full = true
	if err := errors.Join(q.pass(t.Context(), frames[2:]), q.tick(t.Context(), time.Second)); err != nil {
		t.Fatal(err)
	}
	want := []string{
		"2 written", "frame 1", "sample 20000000 after 0", "frame 2", "sample 40000000 after 20000000",
		"1 written", "sample 60000000 after 40000000", "tick after 60000000",
	}
	if diff := cmp.Diff(want, l.noted); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

// The sequencer waits for a watcher that is behind before there is more on the
// way than the bus has room for.
func TestNotTooFarAhead(t *testing.T) {
	l := &line{}
	const n = 2 * watch.Ahead
	q, frames := newSequencer(t, l, n)
	waits, most, sent := 0, 0, map[int64]int{0: 0}
	for i, f := range frames {
		sent[f.Passed] = i + 1
	}
	l.watched = func(passed int64) error {
		waits++
		most = max(most, sent[q.sampled]-sent[passed]) // if the watcher does no more than it must
		return nil
	}
	if err := q.pass(t.Context(), frames); err != nil {
		t.Fatal(err)
	}
	if waits != 4 || most > watch.Ahead || most == 0 {
		t.Errorf("it waited %d times, with up to %d samples on the way", waits, most)
	}
	stop := errors.New("the watcher has stopped")
	l.watched = func(int64) error { return stop }
	_, more := newSequencer(t, l, watch.Ahead)
	if err := q.pass(t.Context(), more); !errors.Is(err, stop) {
		t.Errorf("a watcher that has stopped is told as %v", err)
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
