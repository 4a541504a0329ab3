package main

import (
	"path/filepath"
	"strings"
	"testing"

	"padlark/flight"
)

// TestVoidCountsNowhere: a flight that a person takes for none is gone from all
// that counts or shows flights, also in another archive that takes the session
// in, and comes back whole when it was one after all.
func TestVoidCountsNowhere(t *testing.T) {
	dir := demoDir(t)
	in := func(args ...string) []string { return append(args, "--data", dir) }
	shown := map[string][]string{
		"flights": in("flights", "--json"),
		"season":  in("flights", "--season", "--json"),
		"events":  in("events", "--json"),
		"replay":  in("replay", "--json", "--speed", "max"),
	}
	before := map[string]string{}
	for what, args := range shown {
		before[what] = must(t, args...)
		if !strings.Contains(before[what], "Teal") {
			t.Fatalf("%s does not show Teal: %s", what, before[what])
		}
	}
	must(t, in("void", "Teal-1", "a hand on the pad")...)
	for what, args := range shown {
		text := must(t, args...)
		switch what {
		case "season": // the rocket stays, its flight does not count
			if text == before[what] {
				t.Errorf("%s has not changed: %s", what, text)
			}
		case "flights":
			for _, r := range fromJSON[[]flight.Result](t, text) {
				if r.Rocket == "Teal" {
					t.Errorf("flights still has %s %d", r.Rocket, r.Flight)
				}
			}
		default:
			for _, line := range strings.Split(text, "\n") {
				if strings.Contains(line, `"Teal"`) && strings.Contains(line, `"flight":1`) {
					t.Errorf("%s still has %s", what, line)
				}
			}
		}
	}
	// The recorded and the replayed events are still compared, both without it.
	must(t, in("replay", "--speed", "max")...)
	if list := must(t, in("void")...); !strings.Contains(list, "Teal~1") || !strings.Contains(list, "a hand on the pad") {
		t.Errorf("void lists %s", list)
	}
	for _, args := range [][]string{in("report", "Teal-1"), in("compare", "Teal-1", "Rust-1"), in("export", "--rocket", "Teal", "--flight", "1")} {
		if r := do(t, args...); r.code == exitOK {
			t.Errorf("%v takes a void flight", args)
		}
	}

	// A bundle carries what was said.
	file, other := filepath.Join(t.TempDir(), "s.plarkbundle"), t.TempDir()
	must(t, in("export", "--format", "bundle", "-o", file)...)
	for range 2 { // the second changes nothing
		must(t, "import", file, "--data", other)
		if list := must(t, "void", "--data", other); strings.Count(list, "Teal~1") != 1 {
			t.Errorf("after the import void lists %s", list)
		}
	}

	must(t, in("void", "--undo", "Teal-1")...)
	for what, args := range shown {
		if text := must(t, args...); text != before[what] {
			t.Errorf("%s after --undo:\n%s\nbefore:\n%s", what, text, before[what])
		}
	}
	if r := do(t, in("void", "Teal-7")...); r.code != exitUsage || !strings.Contains(r.err, "Teal-1") {
		t.Errorf("a flight that is not there: exit %d, %s", r.code, r.err)
	}
}
