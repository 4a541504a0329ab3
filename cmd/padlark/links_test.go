package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"net"
	"testing"
	"time"
)

// One rocket heard on two links that each lose 30 % independently is one
// rocket that loses 9 % (0.3 x 0.3): its frames are merged, both links' are kept
// raw, and all three losses are told.
func TestTwoLinksLoseLess(t *testing.T) {
	data, udp := t.TempDir(), [2]string{freePort(t), freePort(t)}
	p := startRunWhen(t, "state=up", 2, writeConfig(t, fmt.Sprintf(`
[station]
name = "two"
data = %q
[web]
listen = "off"
[[link]]
name = "north"
udp = %q
layout = "lark-text"
[[link]]
name = "south"
udp = %q
layout = "lark-text"
[[rocket]]
name = "Teal"
id = 1
`, data, udp[0], udp[1])))
	var conns [2]net.Conn
	for i, to := range udp {
		c, err := net.Dial("udp", to)
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close() //nolint:errcheck // only written to
		conns[i] = c
	}
	const frames, lose = 2000, 0.3
	rng := rand.New(rand.NewPCG(9, 30))
	var sent [2]int
	both := 0
	tick := time.NewTicker(time.Millisecond)
	defer tick.Stop()
	start := time.Now()
	for i := range frames {
		at := time.Since(start)
		lost := 0
		for k, c := range conns {
			// The first and the last are heard, so that both know the span.
			if i > 0 && i < frames-1 && rng.Float64() < lose {
				lost++
				continue
			}
			if _, err := c.Write(numbered(mark{1, i}, at, 98000)); err != nil {
				t.Fatal(err)
			}
			sent[k]++
		}
		both += lost / 2
		<-tick.C
	}
	awaitFrames(t, data, sent[0]+sent[1])
	p.stop(t)
	rows := fromJSON[[]sessionRow](t, must(t, "sessions", "--data", data, "--losses", "--json"))
	if len(rows) != 1 || len(rows[0].Losses) != 1 || len(rows[0].Losses[0].Links) != 2 {
		t.Fatalf("%+v", rows)
	}
	r := rows[0].Losses[0]
	if r.Rocket != "Teal" || int(r.Lost) != both || int(r.Heard) != frames-both {
		t.Errorf("merged: %d heard, %d lost; %d were heard by neither", r.Heard, r.Lost, both)
	}
	if f := float64(r.Lost) / frames; math.Abs(f-lose*lose) > 0.025 { // four standard deviations
		t.Errorf("%.1f %% lost after merging, want about 9 %%", 100*f)
	}
	for i, l := range r.Links {
		k := map[string]int{"north": 0, "south": 1}[l.Link]
		if int(l.Heard) != sent[k] || int(l.Lost) != frames-sent[k] {
			t.Errorf("link %s: %d heard, %d lost; want %d and %d", l.Link, l.Heard, l.Lost, sent[k], frames-sent[k])
		}
		t.Logf("link %d, %s: %s", i+1, l.Link, share(l.Heard, l.Lost))
		if n := count(t, data, fmt.Sprintf("SELECT COALESCE(SUM(f.count), 0) FROM frame_blocks f JOIN links l ON l.id = f.link WHERE l.name = '%s'", l.Link)); n != sent[k] {
			t.Errorf("link %s: %d raw frames kept, %d were heard", l.Link, n, sent[k])
		}
	}
	t.Logf("merged: %s", share(r.Heard, r.Lost))
}
