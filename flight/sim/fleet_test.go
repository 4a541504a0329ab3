package sim

import (
	"crypto/sha256"
	"encoding/hex"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"testing"
)

var update = flag.Bool("update", false, "write the golden files anew")

// All frames of a fleet come back, and all rockets are in the air together.
func TestFleet(t *testing.T) {
	sc, err := Fleet(16, 20, 5)
	if err != nil {
		t.Fatal(err)
	}
	s := newSim(t, sc, 4)
	st := fly(t, s, 1)
	if st.rejects != 0 {
		t.Errorf("%d rejected frames", st.rejects)
	}
	counts := map[string]int{}
	for i := range st.samples {
		counts[st.samples[i].Rocket]++
	}
	if len(counts) != 16 {
		t.Fatalf("%d rockets were heard, want 16", len(counts))
	}
	for name, n := range counts {
		if want := int(20 * (sc.RoundS - sc.BreakS)); n < want-2 || n > want+2 {
			t.Errorf("%s: %d frames, want %d", name, n, want)
		}
	}
	last, first := s.Truth()[0].LiftoffAt, s.Truth()[0].LiftoffAt
	for _, tr := range s.Truth() {
		if tr.LiftoffAt.After(last) {
			last = tr.LiftoffAt
		}
		if tr.LiftoffAt.Before(first) {
			first = tr.LiftoffAt
		}
	}
	for _, tr := range s.Truth() {
		if down := tr.LiftoffAt.Sub(first).Seconds() + tr.TouchdownAfter; down < last.Sub(first).Seconds() {
			t.Errorf("%s is down before the last goes up", tr.Rocket)
		}
	}
	if _, err := Fleet(0, 50, 5); err == nil {
		t.Error("a fleet of none was made")
	}
}

// The golden file pins the bytes of the demo's three links.
func TestGoldenBytes(t *testing.T) {
	sums := map[string]string{}
	count := map[string]int{}
	state := map[string][]byte{}
	for c, err := range newSim(t, demo(t), 1).Chunks(1) {
		if err != nil {
			t.Fatal(err)
		}
		state[c.Link] = append(state[c.Link], c.Bytes...)
		count[c.Link]++
	}
	got := ""
	for _, l := range demo(t).Links {
		h := sha256.Sum256(state[l.Name])
		sums[l.Name] = hex.EncodeToString(h[:])[:16]
		got += fmt.Sprintf("%s %d chunks %d bytes %s\n", l.Name, count[l.Name], len(state[l.Name]), sums[l.Name])
	}
	path := filepath.Join("testdata", "demo.txt")
	if *update {
		if err := os.MkdirAll("testdata", 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if string(want) != got {
		t.Errorf("-want +got\n-%s+%s", want, got)
	}
}

// Whatever the text, Parse gives a scenario that New can judge, or an error.
func FuzzParse(f *testing.F) {
	f.Add(DemoText())
	f.Add("")
	f.Add("round_s = nan\n[[link]]\nname = \"a\"\nkind = \"udp\"\n")
	f.Add("round_s = 10.0\n[site]\nelevation_m = 0.0\ntemperature_c = 9e99\n[[link]]\nname = \"a\"\nkind = \"udp\"\nlayout = \"lark-bin\"\n[[board]]\nlink = \"a\"\n")
	f.Fuzz(func(t *testing.T, text string) {
		sc, err := Parse([]byte(text))
		if err != nil {
			return
		}
		if len(sc.Boards) == 0 || sc.RoundS <= sc.BreakS {
			t.Errorf("a scenario that cannot be flown passed: %+v", sc)
		}
		for _, b := range sc.Boards {
			if err := b.validate(&sc); err != nil {
				t.Errorf("Parse let a bad board through: %v", err)
			}
		}
	})
}
