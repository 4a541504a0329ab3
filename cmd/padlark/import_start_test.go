package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"padlark/storage/logimport"
)

// TestImportBeginsAtLiftoff: a log that begins when the board has noticed the
// liftoff dates it within itself, and near its first line.
func TestImportBeginsAtLiftoff(t *testing.T) {
	want := sound(t)
	all := leapsPressures()
	for _, after := range []float64{0, 0.1, 0.3} { // s after the liftoff
		for _, every := range []int{1, 2, 5} {
			t.Run(fmt.Sprintf("%g s late, %d Hz", after, 50/every), func(t *testing.T) {
				var b strings.Builder
				first := int((gapsLift + after) * 50)
				for i := first; i < len(all); i += every {
					fmt.Fprintf(&b, "%d,%.1f\n", 20*(i-first), all[i])
				}
				d, said, got := gapsImport(t, "late.log", []byte(b.String()), "--layout", "wide", "--at", "2026-06-13T09:00:00Z")
				if len(got) != 1 || d.Flights != 1 || got[0].LaunchedAt == nil {
					t.Fatalf("%d flights: %s", len(got), said)
				}
				begins := time.Date(2026, 6, 13, 9, 0, 0, 0, time.UTC)
				if at := got[0].LaunchedAt.Sub(begins).Seconds(); at < 0 || at > 0.25 {
					t.Errorf("launched %.2f s after the first line", at)
				}
				if top := got[0].ApogeeAt.Sub(begins).Seconds() + after; top < *want[0].TimeToApogeeS-0.15 || top > *want[0].TimeToApogeeS+0.15 {
					t.Errorf("apogee %.2f s after the liftoff, in the whole log %.2f s", top, *want[0].TimeToApogeeS)
				}
			})
		}
	}
}

// TestImportEmptyFirstLine: a first line in which nothing is measured is no
// sample, and the line after it no start of the board.
func TestImportEmptyFirstLine(t *testing.T) {
	log := leapsLog(func(_, ms int) int64 { return int64(ms) })
	d, said, got := gapsImport(t, "empty.log", []byte(",\n"+log), "--layout", "wide")
	if d.Bad != 1 || d.Skipped[0].Line != 1 || !strings.Contains(said, "nothing is measured in it") {
		t.Errorf("skipped %v: %s", d.Skipped, said)
	}
	sameFlight(t, got, sound(t), 0.05, 0.02)
}

// TestImportBareConfig: a configuration for an import needs no link, and none
// that says whose frames it brings: --rocket says so.
func TestImportBareConfig(t *testing.T) {
	const layout = `
[[layout]]
name = "own"
framing = "line"
form = "delimited"
fields = [ { name = "clock", unit = "ms" }, { name = "pressure_pa", unit = "Pa" } ]
`
	log := leapsLog(func(_, ms int) int64 { return int64(ms) })
	for name, text := range map[string]string{
		"no link":               layout,
		"a link of nobody":      "[[link]]\nname = \"pad\"\nudp = \":0\"\nlayout = \"own\"\n" + layout,
		"two, one of somebody":  "[[link]] # first\nname = \"pad\"\nudp = \":0\"\nlayout = \"own\"\n[[link]]\nname = \"other\"\nudp = \":9751\"\nlayout = \"own\"\nrocket = \"Rust\"\n" + layout,
		"a rocket, and no link": "[[rocket]]\nname = \"Rust\"\nid = 3\n" + layout,
	} {
		t.Run(name, func(t *testing.T) {
			dir := t.TempDir()
			cfg, file, data := filepath.Join(dir, "own.toml"), filepath.Join(dir, "own.log"), filepath.Join(dir, "data")
			for path, text := range map[string]string{cfg: text, file: log} {
				if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
					t.Fatal(err)
				}
			}
			d := fromJSON[logimport.Done](t, must(t, "import", file, "--layout", "own", "--rocket", "Teal", "-c", cfg, "--data", data, "--json"))
			if d.Flights != 1 {
				t.Errorf("%d flights", d.Flights)
			}
			must(t, "replay", "--speed", "max", "--data", data, d.Session)
		})
	}
	dir := t.TempDir()
	cfg, file := filepath.Join(dir, "bad.toml"), filepath.Join(dir, "own.log")
	for path, text := range map[string]string{cfg: layout + "nonsense = 1\n", file: log} {
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if r := do(t, "import", file, "--layout", "own", "--rocket", "Teal", "-c", cfg, "--data", dir); r.code != exitUsage || !strings.Contains(r.err, "nonsense") {
		t.Errorf("a wrong key: exit %d, %s", r.code, r.err)
	}
}
