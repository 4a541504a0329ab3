package decode

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"
)

// stationOf is a station on which Teal is configured, and heard on two links.
func stationOf(t *testing.T, layout, text string) *Decoder {
	t.Helper()
	id := uint32(7)
	cfg := Config{Rockets: []RocketID{{Name: "Teal", ID: &id}},
		Links: []LinkLayouts{{Link: "pad", Layouts: []string{layout}}, {Link: "north", Layouts: []string{layout}}}}
	if text != "" {
		cfg.Layouts = layouts(t, text)
	}
	d, err := New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// said counts the samples of each name.
type said struct {
	samples map[string]int
	boots   map[string]map[uint32]int
	waited  int
}

func (s *said) hear(t *testing.T, d *Decoder, b *board, link string, at time.Duration) (Sample, bool) {
	t.Helper()
	if s.samples == nil {
		s.samples, s.boots = map[string]int{}, map[string]map[uint32]int{}
	}
	want := b.seq
	got, err := d.Decode(b.say(t, link, 1, at, 0))
	var r *Reject
	if errors.As(err, &r) {
		if r.Reason != ReasonBeside {
			t.Fatalf("%v", err)
		}
		s.waited++
		return got, false
	}
	if got.Seq != want {
		t.Fatalf("seq %d of %s, want %d", got.Seq, got.Rocket, want)
	}
	s.samples[got.Rocket]++
	if s.boots[got.Rocket] == nil {
		s.boots[got.Rocket] = map[uint32]int{}
	}
	s.boots[got.Rocket][got.Boot]++
	return got, true
}

// A second board under a configured id gets a name of its own, on one link or
// two, whichever was there first, and the first is not disturbed by a single
// frame of it.
func TestSecondSender(t *testing.T) {
	for _, c := range []struct {
		name  string
		link  string
		start time.Duration // of the second board, as told by its clock
		rate  time.Duration
	}{
		{"on the same link, long since switched on", "pad", -3 * time.Hour, 50 * time.Millisecond},
		{"on another link, just switched on", "north", 10 * time.Second, 50 * time.Millisecond},
		{"on the same link, just switched on", "pad", 10 * time.Second, 20 * time.Millisecond},
		{"on another link, once a second", "north", -time.Hour, time.Second},
		{"on another link, ten times as fast", "north", -time.Hour, 2 * time.Millisecond},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := stationOf(t, "lark-bin", "")
			p := builtin(t, "lark-bin")
			ours := &board{p: p, rocket: 7, boot: 4, start: -400 * time.Second, seq: 4000}
			other := &board{p: p, rocket: 7, boot: 4, start: c.start, seq: 900}
			var s said
			next := 10 * time.Second
			for at := time.Duration(0); at < 30*time.Second; at += 20 * time.Millisecond {
				if got, ok := s.hear(t, d, ours, "pad", at); !ok || got.Rocket != "Teal" || got.Boot != 4 {
					t.Fatalf("at %v ours is %s, boot %d, %v", at, got.Rocket, got.Boot, ok)
				}
				for ; next <= at; next += c.rate {
					if got, ok := s.hear(t, d, other, c.link, next+time.Millisecond); ok && got.Rocket != "Teal (2)" {
						t.Fatalf("at %v the other is %s", at, got.Rocket)
					}
				}
			}
			if s.waited > 60 || s.samples["Teal (2)"] < 15 || s.samples["Teal"] != 1500 || len(s.samples) != 2 {
				t.Errorf("samples %v, %d frames waited", s.samples, s.waited)
			}
			if rocket, n := SenderOf("Teal (2)"); rocket != "Teal" || n != 2 {
				t.Errorf("Teal (2) is sender %d of %q", n, rocket)
			}
		})
	}
}

// Frames with clocks and numbers drawn by chance never make a sender, and take
// nothing from ours.
func TestSenderOfNonsense(t *testing.T) {
	d := stationOf(t, "lark-bin", "")
	p := builtin(t, "lark-bin")
	ours := &board{p: p, rocket: 7, boot: 4, start: -400 * time.Second, seq: 4000}
	rng := rand.New(rand.NewPCG(7, 7))
	boot := uint32(0)
	for at := time.Duration(0); at < 60*time.Second; at += 20 * time.Millisecond {
		if at > 0 { // the nonsense is heard first
			got, err := d.Decode(ours.say(t, "pad", 1, at, 0))
			switch {
			case at < 200*time.Millisecond:
				boot = got.Boot // nobody is known by then
			case err != nil || got.Rocket != "Teal" || got.Boot != boot:
				t.Fatalf("at %v: %s, boot %d after %d, %v", at, got.Rocket, got.Boot, boot, err)
			}
		}
		for range 10 {
			b := &board{p: p, rocket: 7, boot: uint32(rng.IntN(256)), seq: int64(rng.IntN(65536)), start: at - time.Duration(rng.Int64N(int64(40*24*time.Hour)))}
			if got, err := d.Decode(b.say(t, []string{"pad", "north"}[rng.IntN(2)], 1, at+time.Millisecond, 0)); err == nil && at > 200*time.Millisecond {
				t.Fatalf("at %v nonsense became %s, boot %d", at, got.Rocket, got.Boot)
			}
		}
	}
	if n := len(d.rockets[0].streams[0].tracks); n > maxTracks {
		t.Errorf("%d tracks", n)
	}
}

// A restart is one at once where the board was silent for as long as a start
// takes, and its name stays.
func TestRestartOfOurs(t *testing.T) {
	for _, silence := range []time.Duration{300 * time.Millisecond, time.Second, 10 * time.Second} {
		d := stationOf(t, "lark-text", "")
		b := &board{p: builtin(t, "lark-text"), rocket: 7, boot: 1}
		var s said
		at := time.Duration(0)
		for boot := uint32(1); boot < 4; boot++ {
			for end := at + 20*time.Second; at < end; at += 20 * time.Millisecond {
				if got, ok := s.hear(t, d, b, "pad", at); !ok || got.Rocket != "Teal" || got.Boot != boot {
					t.Fatalf("silence of %v: at %v %s boot %d, %v", silence, at, got.Rocket, got.Boot, ok)
				}
			}
			at += silence
			b.restart(at - 40*time.Millisecond)
		}
	}
}

// Where ours was out of hearing and another was taken for it, ours gets its name
// back when it is heard again.
func TestTakenForOurs(t *testing.T) {
	d := stationOf(t, "lark-bin", "")
	p := builtin(t, "lark-bin")
	ours := &board{p: p, rocket: 7, boot: 4, start: -400 * time.Second, seq: 4000}
	other := &board{p: p, rocket: 7, boot: 4, start: -time.Hour, seq: 900}
	var s said
	for at := time.Duration(0); at < 20*time.Second; at += 20 * time.Millisecond {
		away := at > 5*time.Second && at < 7*time.Second
		if away {
			ours.seq++
		} else if got, ok := s.hear(t, d, ours, "pad", at); !ok || got.Rocket != "Teal" || got.Boot != 4 {
			t.Fatalf("at %v ours is %s, boot %d, %v", at, got.Rocket, got.Boot, ok)
		}
		if at < 6*time.Second {
			continue
		}
		if got, ok := s.hear(t, d, other, "north", at+7*time.Millisecond); ok && got.Rocket != "Teal (2)" && at > 7200*time.Millisecond {
			t.Fatalf("at %v the other is %s", at, got.Rocket)
		}
	}
	if s.samples["Teal (2)"] < 600 {
		t.Errorf("samples %v", s.samples)
	}
}

// Many second senders are bounded, and each keeps its name on both links.
func TestManySenders(t *testing.T) {
	d := stationOf(t, "lark-bin", "")
	p := builtin(t, "lark-bin")
	var boards []*board
	for k := range 8 {
		boards = append(boards, &board{p: p, rocket: 7, boot: 1, start: -time.Duration(k+1) * 1000 * time.Second, seq: int64(5000 * k)})
	}
	names := map[int]map[string]bool{}
	for at := time.Duration(0); at < 20*time.Second; at += 20 * time.Millisecond {
		for k, b := range boards {
			f := b.say(t, "pad", 1, at+time.Duration(k)*time.Millisecond, 0)
			for _, link := range []string{"pad", "north"} {
				f.Link = link
				if got, err := d.Decode(f); err == nil && at > 2*time.Second {
					if names[k] == nil {
						names[k] = map[string]bool{}
					}
					names[k][got.Rocket] = true
				}
			}
		}
	}
	seen := map[string]bool{}
	for k, n := range names {
		if len(n) != 1 {
			t.Errorf("board %d is called %v", k, n)
		}
		for name := range n {
			if seen[name] {
				t.Errorf("two boards are called %s", name)
			}
			seen[name] = true
		}
	}
	if fmt.Sprint(len(seen)) != "4" || !seen["Teal"] {
		t.Errorf("names %v", seen)
	}
}
