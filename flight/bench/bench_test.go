package bench_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/bench"
	"padlark/flight/bench/board"
	"padlark/ingest"
)

var begin = time.Date(2031, 4, 2, 18, 30, 0, 0, time.UTC)

// sitting is a checkup on a virtual clock: the board's bytes pass the real
// framing and the real decoder.
type sitting struct {
	bench   *bench.Bench
	recv    *ingest.Receiver
	decoder *decode.Decoder
	clock   *ingest.VirtualClock
}

func newSitting(t testing.TB, p bench.Plan, layout string) *sitting {
	t.Helper()
	layouts, err := decode.Builtin()
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(layouts, func(l decode.Layout) bool { return l.Name == layout })
	s := &sitting{clock: ingest.NewVirtualClock(begin)}
	s.recv, err = ingest.NewReceiver(ingest.LinkConfig{Name: "bench", Serial: "/dev/null", Baud: 115200, Layout: layout}, layouts[i].Framing, ingest.Env{Clock: s.clock.Clock()})
	if err != nil {
		t.Fatal(err)
	}
	id := uint32(7)
	s.decoder, err = decode.New(decode.Config{
		Links:   []decode.LinkLayouts{{Link: "bench", Layouts: []string{layout}}},
		Rockets: []decode.RocketID{{Name: "Teal", ID: &id}},
	})
	if err != nil {
		t.Fatal(err)
	}
	if s.bench, err = bench.New(p, begin); err != nil {
		t.Fatal(err)
	}
	return s
}

// hear gives the bench what the board sends.
func (s *sitting) hear(t testing.TB, o board.Options) bench.Report {
	t.Helper()
	b, err := board.New(o)
	if err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(o.Seed, 9))
	last := time.Duration(0)
	for !s.bench.Done() {
		sent, ok, err := b.Next()
		if err != nil {
			t.Fatal(err)
		}
		if !ok {
			break
		}
		heard := sent.At + time.Second + time.Duration(rng.ExpFloat64()*2e6)
		last = max(last, heard)
		s.clock.Advance(last)
		if len(sent.Bytes) > 0 {
			chunk := ingest.Chunk{Link: "bench", Heard: last, Bytes: sent.Bytes, Baud: 115200}
			if err := s.recv.Push(chunk, s.frame); err != nil {
				t.Fatal(err)
			}
		}
		s.tick(last)
	}
	for ; !s.bench.Done() && last < time.Hour; last += time.Second {
		s.tick(last)
	}
	r, err := s.bench.Report()
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func (s *sitting) tick(at time.Duration) {
	h := s.recv.Health()
	s.bench.Count(bench.Count{Link: "bench", Bytes: h.Bytes, Frames: h.Frames, Bad: h.Bad, Words: h.Words, Hint: h.Hint})
	s.bench.Tick(begin.Add(at))
}

func (s *sitting) frame(f ingest.Frame) error {
	f.Passed = f.Mono
	m, err := s.decoder.Decode(f)
	var rej *decode.Reject
	if errors.As(err, &rej) {
		s.recv.Stats().AddBad(rej.Reason, f)
		return nil
	}
	if err == nil {
		s.bench.Sample(&m)
	}
	return err
}

func plan(restS float64) bench.Plan {
	elevation, temperature := 212.0, 20.0
	return bench.Plan{
		Rocket: board.Rocket(), RestS: restS, WaitS: 8, FirstS: 5,
		Site: flight.Site{ElevationM: &elevation, TemperatureC: &temperature},
	}
}

// unwell lists the checks that are not good.
func unwell(r bench.Report) []string {
	var out []string
	for _, f := range r.Findings {
		if f.Level == bench.Look || f.Level == bench.Bad {
			out = append(out, f.Check)
		}
	}
	return out
}

// Nothing is found on a hundred good boards, each another one.
func TestGoodBoards(t *testing.T) {
	for seed := range uint64(100) {
		layout := []string{"lark-bin", "lark-text"}[seed%2]
		o := board.Full(seed, "", 8)
		o.Layout = layout
		r := newSitting(t, plan(8), layout).hear(t, o)
		if bad := unwell(r); len(bad) > 0 || r.Verdict[:5] != "good:" {
			t.Errorf("board %d: %v: %s", seed, bad, r.Verdict)
		}
		if f, ok := r.Find("apogee-rule"); !ok || f.Level != bench.Good || f.Value == nil || *f.Value < 0 || *f.Value > 0.5 {
			t.Errorf("board %d: apogee rule %+v", seed, f)
		}
		if f, ok := r.Find("lift"); !ok || f.Value == nil || *f.Value < 1.9 || *f.Value > 2.1 {
			t.Errorf("board %d: lift %+v", seed, f)
		}
	}
}

// Each defect is found and named, on several boards, and nothing else is.
func TestDefects(t *testing.T) {
	for _, d := range board.Defects() {
		t.Run(d.Name, func(t *testing.T) {
			for seed := range uint64(5) {
				layout := []string{"lark-bin", "lark-text"}[seed%2]
				o := board.Full(seed, d.Name, 8)
				o.Layout = layout
				r := newSitting(t, plan(8), layout).hear(t, o)
				found := unwell(r)
				if !slices.Contains(found, d.Check) {
					t.Errorf("board %d: found %v, want %s\n%s", seed, found, d.Check, all(r))
					continue
				}
				for _, f := range found {
					if f != d.Check && !slices.Contains(d.Also, f) {
						t.Errorf("board %d: %s was found too\n%s", seed, f, all(r))
					}
				}
				if f, _ := r.Find(d.Check); f.Mend == "" || f.Words == "" {
					t.Errorf("board %d: no words or no mend: %+v", seed, f)
				}
			}
		})
	}
}

func all(r bench.Report) string {
	s := ""
	for _, f := range r.Findings {
		s += fmt.Sprintf("%-9s %-15s %-22s %s\n", f.Level, f.Check, f.Text(), f.Words)
	}
	return s
}
