package station

import (
	"bytes"
	"testing"
	"time"

	"padlark/cmd/padlark/config"
	"padlark/decode"
	"padlark/ingest"
)

// weighing is a journal that weighs the frames of each link, and a bus and a
// watcher that take everything.
type weighing struct {
	line
	bytes   map[string]int
	frames  map[string]int
	samples int
}

func (w *weighing) Frames(frames []ingest.Frame) bool {
	for _, f := range frames {
		w.bytes[f.Link] += len(f.Bytes)
		w.frames[f.Link]++
	}
	return true
}

func (w *weighing) PublishFrame(*ingest.Frame) error          { return nil }
func (w *weighing) PublishSample(*decode.Sample, int64) error { w.samples++; return nil }

// What nobody can read is kept up to a bound each hour on each link; every frame
// that can be read is kept, between the garbage and on other links.
func TestGarbageIsBounded(t *testing.T) {
	cfg, err := config.Parse("test", []byte("[[link]]\nname = \"pad\"\nudp = \":9750\"\nlayout = \"lark-text\"\n[[link]]\nname = \"evil\"\nudp = \":9751\"\nlayout = \"lark-text\"\n"))
	if err != nil {
		t.Fatal(err)
	}
	d, err := cfg.NewDecoder()
	if err != nil {
		t.Fatal(err)
	}
	l, err := decode.Compile(builtin(t, "lark-text"), nil)
	if err != nil {
		t.Fatal(err)
	}
	out := &weighing{bytes: map[string]int{}, frames: map[string]int{}}
	q := &sequencer{session: "s", epoch: time.Unix(0, 0), journal: out, out: out, watch: out, decoder: d}
	noise := bytes.Repeat([]byte("no rocket says that. "), 50)
	good, n := 0, uint64(0)
	send := func(link string, at time.Duration, b []byte) {
		n++
		f := ingest.Frame{Link: link, N: n, Mono: int64(at), Heard: time.Unix(0, int64(at)), Bytes: b}
		q.stamp(&f, at)
		if err := q.pass(t.Context(), []ingest.Frame{f}); err != nil {
			t.Fatal(err)
		}
	}
	kept := map[int64]int{}
	for i := range 120_000 { // two hours of it: 126 MB
		at := time.Duration(i) * 60 * time.Millisecond
		before := out.bytes["evil"]
		send("evil", at, noise)
		kept[int64(at/time.Hour)] += out.bytes["evil"] - before
		if i%100 == 0 {
			for _, link := range []string{"evil", "pad"} {
				b, err := l.Encode(nil, decode.Message{Rocket: 7, Boot: 1, Seq: int64(i), Clock: at.Microseconds(), Values: map[string]float64{decode.PressurePa: 100000}})
				if err != nil {
					t.Fatal(err)
				}
				send(link, at, b)
				good++
			}
		}
	}
	if out.samples != good || out.frames["pad"] != good/2 {
		t.Errorf("%d of %d good frames were watched, %d of %d kept of the pad's", out.samples, good, out.frames["pad"], good/2)
	}
	for hour := range int64(2) {
		if kept[hour] > garbageMost || kept[hour] < garbageMost/2 {
			t.Errorf("in hour %d %d bytes of garbage were kept, at most %d are", hour, kept[hour], garbageMost)
		}
	}
}
