package main

import (
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"padlark/flight"
)

// TestCorrections: flights that were joined, split and given to another rocket
// are so in all that counts or shows flights, also in another archive, with their
// notes; and undo gives back, byte for byte, what was.
func TestCorrections(t *testing.T) {
	dir := twiceFlown(t)
	in := func(args ...string) []string { return append(args, "--data", dir) }
	all := func(of string) map[string]string {
		shown := map[string]string{}
		for what, args := range map[string][]string{
			"flights": {"flights", "--json"}, "season": {"flights", "--season", "--json"}, "events": {"events", "--json"},
			"replay": {"replay", "--json", "--speed", "max"}, "samples": {"export", "--format", "csv"},
		} {
			shown[what] = must(t, append(args, "--data", of)...)
		}
		if _, err := exec.LookPath("sqlite3"); err == nil {
			out, err := exec.Command("sqlite3", filepath.Join(of, "padlark.db"), "SELECT * FROM flight_list; SELECT rocket, flight, COUNT(*) FROM flight_samples GROUP BY 1, 2;"+
				"SELECT rocket, flight, kind, at FROM event_list; SELECT rocket, flight, kind FROM alarm_list").CombinedOutput()
			if shown["sql"] = string(out); err != nil {
				t.Errorf("sqlite3: %v: %s", err, out)
			}
		}
		return shown
	}
	numbers := func(of, rocket string) map[int]flight.Result {
		out := map[int]flight.Result{}
		for _, r := range fromJSON[[]flight.Result](t, must(t, "flights", "--json", "--data", of)) {
			if r.Rocket == rocket {
				out[r.Flight] = r
			}
		}
		return out
	}
	must(t, in("note", "Teal-2", "650 mL water")...)
	before := all(dir)
	teal := numbers(dir, "Teal")

	must(t, in("correct", "join", "Teal-2", "Teal-1")...)
	one := numbers(dir, "Teal")
	if len(one) != 1 || one[1].LaunchedAt == nil || one[1].TouchdownAt == nil || one[1].LaunchedAt.Sub(*teal[1].LaunchedAt).Abs().Seconds() > 1 ||
		one[1].TouchdownAt.Sub(*teal[2].TouchdownAt).Abs().Seconds() > 1 {
		t.Fatalf("joined: %+v", one)
	}
	must(t, in("report", "Teal-1", "--out", filepath.Join(t.TempDir(), "r.html"))...)

	if r := do(t, in("correct", "split", "Teal-1", "3")...); r.code != exitBad || !strings.Contains(r.err, "was in the air") {
		t.Errorf("a cut in the air: exit %d, %s", r.code, r.err)
	}

	// Cut between them again, both are what they were, found anew.
	near := func(a, b flight.Result) bool {
		return a.ApogeeM != nil && b.ApogeeM != nil && math.Abs(*a.ApogeeM-*b.ApogeeM) < *b.ApogeeSD &&
			math.Abs(*a.BurnoutS-*b.BurnoutS) < 0.05 && a.LaunchedAt.Sub(*b.LaunchedAt).Abs().Seconds() < 0.05
	}
	must(t, in("correct", "split", "Teal-1", "60")...)
	two := numbers(dir, "Teal")
	for was, is := range map[int]int{1: 1, 2: 3} {
		if !near(two[is], teal[was]) {
			t.Errorf("after the split Teal-%d is not what Teal-%d was", is, was)
		}
	}

	// Another rocket's, with a name that nobody knew.
	must(t, in("correct", "rename", "Teal-3", "Gold")...)
	if g := numbers(dir, "Gold"); len(g) != 1 || !near(g[3], teal[2]) {
		t.Errorf("renamed: %+v", g)
	}
	after := all(dir)
	for what, text := range after {
		if !strings.Contains(text, "Gold") {
			t.Errorf("%s does not show Gold", what)
		}
	}
	if !regexp.MustCompile(`(?m)^[^,]*,Gold,`).MatchString(after["samples"]) {
		t.Error("no sample of Gold is exported")
	}
	must(t, in("replay", "--speed", "max")...) // recorded and replayed events are compared

	// A bundle carries what was said, once.
	file, other := filepath.Join(t.TempDir(), "s.plarkbundle"), t.TempDir()
	must(t, in("export", "--format", "bundle", "-o", file)...)
	for range 2 {
		must(t, "import", file, "--data", other)
	}
	for what, text := range all(other) {
		if text != after[what] {
			t.Errorf("%s in another archive:\n%s\nwant:\n%s", what, text, after[what])
		}
	}
	if text := must(t, "correct", "list", "--data", other); strings.Count(text, "\n") != 3 {
		t.Errorf("after the import correct list says %s", text)
	}

	for _, c := range []struct {
		says string
		args []string
	}{
		{"corrected again later", []string{"undo", "Teal-1"}},
		{"lifts off after 3.0 s", []string{"split", "Teal-1", "3"}},
		{"between", []string{"split", "Teal-1", "NaN"}},
		{"not two flights of one rocket", []string{"join", "Teal-1", "Rust-1"}},
		{"nobody has corrected Rust-1", []string{"undo", "Rust-1"}},
		{"is Rust already", []string{"rename", "Rust-1", "Rust"}},
		{"no such flight", []string{"rename", "Teal-9", "Rust"}},
		{"no name of a rocket", []string{"rename", "Teal-1", "a~b"}},
	} {
		if r := do(t, in(append([]string{"correct"}, c.args...)...)...); r.code == exitOK || !strings.Contains(r.err, c.says) {
			t.Errorf("correct %v: exit %d, %q does not say %q", c.args, r.code, r.err, c.says)
		}
	}
	must(t, in("void", "Gold-3")...)
	if r := do(t, in("correct", "undo", "Gold-3")...); r.code == exitOK || !strings.Contains(r.err, "count it again first") {
		t.Errorf("undo of a void flight: exit %d, %s", r.code, r.err)
	}
	must(t, in("void", "--undo", "Gold-3")...)

	for _, f := range []string{"Gold-3", "Teal-3", "Teal-1"} {
		must(t, in("correct", "undo", f)...)
	}
	for what, text := range all(dir) {
		if text != before[what] {
			t.Errorf("%s after undo:\n%s\nbefore:\n%s", what, text, before[what])
		}
	}
}

// twiceFlown is an archive in which each rocket of the demo has flown twice.
func twiceFlown(t *testing.T) string {
	t.Helper()
	demo, dir := demoDir(t), t.TempDir()
	capture := filepath.Join(dir, "twice.plarkcap")
	must(t, "sim", "--rounds", "2", "--capture", capture)
	text, err := os.ReadFile(filepath.Join(demo, "padlark.toml"))
	if err != nil {
		t.Fatal(err)
	}
	cfg := regexp.MustCompile(`(?m)^file = .*$`).ReplaceAllLiteral(text, []byte("file = '"+capture+"'"))
	path := filepath.Join(dir, "padlark.toml")
	if err := os.WriteFile(path, cfg, 0o600); err != nil {
		t.Fatal(err)
	}
	data := filepath.Join(dir, "data")
	must(t, "run", "-q", "--data", data, path)
	return data
}
