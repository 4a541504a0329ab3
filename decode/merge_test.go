package decode

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"
)

// TestMergeTwoReceivers: two links that each lose 30 % on their own lose
// 0.3 x 0.3 = 9 % together. One is 80 ms slower, and the merged samples still
// lie on one time line.
func TestMergeTwoReceivers(t *testing.T) {
	d, err := New(Config{Links: []LinkLayouts{{Link: "pad", Layouts: []string{"lark-bin"}}, {Link: "north", Layouts: []string{"lark-bin"}}}})
	if err != nil {
		t.Fatal(err)
	}
	b := &board{p: builtin(t, "lark-bin"), rocket: 7, boot: 1, skew: 50e-6}
	m := NewMerger()
	r := rand.New(rand.NewPCG(8, 9))
	const frames = 20000
	seen := map[int64]int{}
	var sq, n float64
	late := []func(){} // copies on the slow link, due in order
	for i := range frames {
		at := time.Duration(i) * 50 * time.Millisecond
		f := b.say(t, "pad", i, at, 0)
		add := func(link string, delay time.Duration) {
			f := f
			f.Link, f.Mono = link, int64(at+delay)
			f.Heard = epoch().Add(at + delay)
			s, err := d.Decode(f)
			if err != nil {
				t.Fatal(err)
			}
			s, first := m.Add(s)
			if first {
				seen[s.Seq]++
			}
			if first && at > time.Minute {
				miss := s.At.Sub(epoch().Add(at)).Seconds()
				sq, n = sq+miss*miss, n+1
			}
		}
		if len(late) == 2 {
			late[0]()
			late = late[1:]
		}
		if r.Float64() >= 0.3 {
			add("pad", time.Duration(r.Int64N(20e6)))
		}
		if r.Float64() >= 0.3 {
			jitter := time.Duration(r.Int64N(20e6))
			late = append(late, func() { add("north", 80*time.Millisecond+jitter) })
		} else {
			late = append(late, func() {})
		}
	}
	c := m.Counts()[0]
	loss := float64(c.Lost) / float64(c.Lost+c.Heard)
	if math.Abs(loss-0.09) > 0.01 {
		t.Errorf("merged loss %.3f, want 0.09", loss)
	}
	for _, l := range c.Links {
		if own := float64(l.Lost) / float64(l.Lost+l.Heard); math.Abs(own-0.3) > 0.015 {
			t.Errorf("loss on %s %.3f, want 0.30", l.Link, own)
		}
	}
	for seq, k := range seen {
		if k != 1 {
			t.Fatalf("message %d passed %d times", seq, k)
		}
	}
	if int(c.Heard) != len(seen) {
		t.Errorf("heard %d, passed %d", c.Heard, len(seen))
	}
	rms := math.Sqrt(sq/n) * 1e3
	if rms > 3 {
		t.Errorf("merged at is %.2f ms rms off", rms)
	}
	t.Logf("each link 30 %% lost, merged %.2f %%, at %.2f ms rms with one link 80 ms slower", 100*loss, rms)
}

// TestMergeBounded shows that old messages are forgotten.
func TestMergeBounded(t *testing.T) {
	m := NewMerger()
	for i := range 3 * mergeWindow {
		s := Sample{Rocket: "Teal", Link: "pad", Boot: uint32(1 + i/500), Seq: int64(i), Clock: -1, Heard: epoch()}
		if _, first := m.Add(s); !first {
			t.Fatalf("message %d taken for a copy", i)
		}
	}
	r := m.rockets["Teal"]
	if len(r.ring) > mergeWindow || len(r.total.boots) > mergeBoots {
		t.Errorf("%d messages, %d boots remembered", len(r.ring), len(r.total.boots))
	}
	chained := 0
	for _, i := range r.chains {
		for ; i >= 0; i = r.ring[i].older {
			chained++
		}
	}
	if chained != mergeWindow {
		t.Errorf("%d messages can be found, want %d", chained, mergeWindow)
	}
	for i := range r.ring {
		if r.find(r.ring[i].key) != &r.ring[i] {
			t.Errorf("message %v is remembered and not found", r.ring[i].key)
		}
	}
	if c := m.Counts()[0]; c.Heard != 3*mergeWindow || c.Lost != 0 {
		t.Errorf("%+v", c)
	}
}

// TestMergeTooLate: a copy that comes when the first is forgotten is not taken
// for a new message.
func TestMergeTooLate(t *testing.T) {
	m := NewMerger()
	for i := range 2 * mergeWindow {
		m.Add(Sample{Rocket: "Teal", Link: "pad", Boot: 1, Seq: int64(i), Clock: -1, Heard: epoch()})
	}
	late := Sample{Rocket: "Teal", Link: "north", Boot: 1, Seq: 100, Clock: -1, Heard: epoch()}
	if _, first := m.Add(late); first {
		t.Error("a forgotten message passed twice")
	}
	late.Boot = 2
	if _, first := m.Add(late); !first {
		t.Error("the same number of another boot was held back")
	}
}

// TestMergeNameless listens to one link at a time where nothing identifies a
// frame.
func TestMergeNameless(t *testing.T) {
	m := NewMerger()
	got := ""
	for i, link := range []string{"pad", "north", "pad", "north", "north", "north", "pad"} {
		at := time.Duration(i) * time.Second
		if i >= 4 {
			at += 10 * time.Second
		}
		if _, first := m.Add(Sample{Rocket: "Teal", Link: link, Seq: -1, Clock: -1, Heard: epoch().Add(at)}); first {
			got += link[:1]
		}
	}
	if got != "ppnn" {
		t.Errorf("listened to %s, want ppnn", got)
	}
}
