package station

import (
	"bytes"
	"context"
	"testing"
	"time"

	"padlark/cmd/padlark/config"
	"padlark/decode"
	"padlark/ingest"
)

// weighing is a bus that weighs the frames of each link.
type weighing struct {
	taking
	bytes  map[string]int
	frames map[string]int
}

func (w *weighing) PublishFrame(_ context.Context, f ingest.Frame) error {
	w.bytes[f.Link] += len(f.Bytes)
	w.frames[f.Link]++
	return nil
}

// willing is a watcher that takes everything.
type willing struct{ samples int }

func (w *willing) Sample(context.Context, decode.Sample) error { w.samples++; return nil }
func (w *willing) Tick(context.Context, int64) error           { return nil }

// What nobody can read is kept up to a bound each hour on each link; every frame
// that can be read is kept, between the garbage and on other links.
func TestGarbageIsBounded(t *testing.T) {
	cfg, err := config.Parse("test", []byte("[[link]]\nname = \"pad\"\nudp = \":9750\"\nlayout = \"lark-text\"\n[[link]]\nname = \"evil\"\nudp = \":9751\"\nlayout = \"lark-text\"\n"))
	if err != nil {
		t.Fatal(err)
	}
	d, err := newDecoder(cfg)
	if err != nil {
		t.Fatal(err)
	}
	l, err := decode.Compile(builtin(t, "lark-text"), nil)
	if err != nil {
		t.Fatal(err)
	}
	out := &weighing{bytes: map[string]int{}, frames: map[string]int{}}
	watched := &willing{}
	q := &sequencer{session: "s", epoch: time.Unix(0, 0), out: out, watch: watched, decoder: d}
	noise := bytes.Repeat([]byte("no rocket says that. "), 50)
	good, n := 0, uint64(0)
	send := func(link string, at time.Duration, b []byte) {
		n++
		if err := q.live(t.Context(), ingest.Frame{Link: link, N: n, Mono: int64(at), Heard: time.Unix(0, int64(at)), Bytes: b}, at); err != nil {
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
	if watched.samples != good || out.frames["pad"] != good/2 {
		t.Errorf("%d of %d good frames were watched, %d of %d kept of the pad's", watched.samples, good, out.frames["pad"], good/2)
	}
	for hour := range int64(2) {
		if kept[hour] > garbageMost || kept[hour] < garbageMost/2 {
			t.Errorf("in hour %d %d bytes of garbage were kept, at most %d are", hour, kept[hour], garbageMost)
		}
	}
}
