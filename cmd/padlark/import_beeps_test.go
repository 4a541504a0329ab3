package main

import (
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"padlark/flight"
)

const sounderConfig = `
[station]
name = "field"

[[layout]]
name = "my-sounder"
framing = "beeps"
form = "beeps"
[layout.beeps]
zero = "long"
lead = true

[[rocket]]
name = "Teal"

[site]
temperature_c = 25.0

[[link]]
name = "mic"
stdin = true
layout = "my-sounder"
rocket = "Teal"
`

func called(t *testing.T, args ...string) (code int, out, errs string) {
	r := do(t, args...)
	return r.code, r.out, r.err
}

// A height that is beeped is read back as a flight of which nothing but the height
// is known, as it is in the air of the site: pressure falls with height as 1/T does
// (hypsometric equation), so by 298.15 K / 288.15 K more than for the standard air.
func TestImportBeeps(t *testing.T) {
	dir := t.TempDir()
	cfg, sound, data := filepath.Join(dir, "padlark.toml"), filepath.Join(dir, "a.wav"), filepath.Join(dir, "data")
	if err := os.WriteFile(cfg, []byte(sounderConfig), 0o600); err != nil {
		t.Fatal(err)
	}
	if code, _, errs := called(t, "beep", "1203", "-c", cfg, "--out", sound); code != 0 {
		t.Fatalf("beep: %d %s", code, errs)
	}
	for range 2 { // the same again changes nothing
		code, out, errs := called(t, "import", sound, "--layout", "my-sounder", "--rocket", "Teal", "-c", cfg, "--data", data, "--at", "2026-06-13T09:30:00Z")
		if code != 0 || !strings.Contains(out, "1203 m, heard 3 times") || !strings.Contains(out, "└1─┘") || !strings.Contains(out, "1244.7 m") {
			t.Fatalf("import: %d\n%s%s", code, out, errs)
		}
		for _, line := range strings.Split(out, "\n") {
			if len([]rune(line)) > 80 {
				t.Errorf("a line of %d characters: %s", len([]rune(line)), line)
			}
		}
	}
	code, out, errs := called(t, "flights", "--data", data, "--json")
	var got []flight.Result
	if err := json.Unmarshal([]byte(out), &got); code != 0 || err != nil || len(got) != 1 {
		t.Fatalf("flights: %d %v %s\n%s", code, err, errs, out)
	}
	want := 1203 * (25 + 273.15) / 288.15
	r := got[0]
	if r.Rocket != "Teal" || r.Flight != 1 || r.ApogeeM == nil || math.Abs(*r.ApogeeM-want) > 0.01 {
		t.Errorf("%+v, want an apogee of %.2f m", r, want)
	}
	// Half a metre either way, and the 1.5 K of a temperature that somebody typed in.
	if sd := math.Hypot(1/math.Sqrt(12), want*1.5/288.15); r.ApogeeSD == nil || math.Abs(*r.ApogeeSD-sd) > 0.01 {
		t.Errorf("standard deviation %v m, want %.2f", r.ApogeeSD, sd)
	}
	if r.LaunchedAt != nil || r.ApogeeAt != nil || r.MaxSpeedMps != nil || r.DescentMps != nil || r.DurationS != nil || !strings.Contains(r.Verdict, "from the sounder") {
		t.Errorf("more than the height is known: %+v", r)
	}
	for _, args := range [][]string{{"flights"}, {"flights", "--all"}, {"report", "Teal-1", "--out", filepath.Join(dir, "r.html")}, {"events"}, {"sessions"}} {
		if code, _, errs := called(t, append(args, "--data", data)...); code != 0 {
			t.Errorf("%v: %d %s", args, code, errs)
		}
	}
	// A replay of the session gives the same.
	if code, out, errs := called(t, "replay", got[0].Session, "--data", data, "--speed", "max"); code != 0 || !strings.Contains(out+errs, "1 events, each equal to the recorded one") {
		t.Errorf("replay: %d\n%s%s", code, out, errs)
	}
}

// A recording that is no WAV is converted by a program that is installed.
func TestImportBeepsConverted(t *testing.T) {
	need(t, "sox")
	dir := t.TempDir()
	cfg, sound, other := filepath.Join(dir, "padlark.toml"), filepath.Join(dir, "a.wav"), filepath.Join(dir, "a.aiff")
	if err := os.WriteFile(cfg, []byte(sounderConfig), 0o600); err != nil {
		t.Fatal(err)
	}
	must(t, "beep", "40", "-c", cfg, "--out", sound)
	if out, err := exec.Command("sox", sound, "-r", "22050", other).CombinedOutput(); err != nil {
		t.Fatalf("sox: %v: %s", err, out)
	}
	out := must(t, "import", other, "--layout", "my-sounder", "--rocket", "Teal", "-c", cfg, "--data", filepath.Join(dir, "data"))
	if !strings.Contains(out, "40 m, heard 3 times") {
		t.Errorf("import: %s", out)
	}
}

// What is no sound, or no reading, is told, and nothing is kept.
func TestImportBeepsRefuses(t *testing.T) {
	dir := t.TempDir()
	cfg, data := filepath.Join(dir, "padlark.toml"), filepath.Join(dir, "data")
	if err := os.WriteFile(cfg, []byte(sounderConfig), 0o600); err != nil {
		t.Fatal(err)
	}
	silence := make([]byte, 44+2*8000*3)
	copy(silence, "RIFF\x00\x00\x00\x00WAVEfmt \x10\x00\x00\x00\x01\x00\x01\x00\x40\x1f\x00\x00\x80\x3e\x00\x00\x02\x00\x10\x00data\xff\xff\xff\xff")
	for _, c := range []struct {
		name string
		in   []byte
		want string
	}{
		{"silence", silence, "not sure"},
		{"a film", []byte("RIFF\x00\x00\x00\x00AVI LIST"), "not WAVE"},
		{"nothing", nil, "read recording"},
	} {
		path := filepath.Join(dir, "x.wav")
		if err := os.WriteFile(path, c.in, 0o600); err != nil {
			t.Fatal(err)
		}
		code, out, errs := called(t, "import", path, "--layout", "my-sounder", "--rocket", "Teal", "-c", cfg, "--data", data)
		if code != 1 || !strings.Contains(out+errs, c.want) {
			t.Errorf("%s: %d, want 1 and %q\n%s%s", c.name, code, c.want, out, errs)
		}
	}
	if code, out, errs := called(t, "sessions", "--data", data, "--json"); code != 0 || strings.TrimSpace(out) != "[]" {
		t.Errorf("something was kept: %d %s%s", code, out, errs)
	}
}
