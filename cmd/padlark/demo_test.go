package main

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"padlark/flight"
	"padlark/flight/sim"
)

// demoDir flies the demo on the virtual clock and returns its folder.
func demoDir(t *testing.T, args ...string) string {
	t.Helper()
	dir := t.TempDir()
	must(t, append([]string{"demo", "--fast", "--exit", "-q", "--data", dir}, args...)...)
	return dir
}

func readTruth(t *testing.T, dir string) []sim.Truth {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(dir, "truth.json"))
	if err != nil {
		t.Fatal(err)
	}
	return readTruthText(t, string(text))
}

func readTruthText(t *testing.T, text string) []sim.Truth {
	t.Helper()
	return fromJSON[[]sim.Truth](t, text)
}

// compareFlights checks flights against what the simulated boards really did.
func compareFlights(t *testing.T, flights []flight.Result, truth []sim.Truth) {
	t.Helper()
	if len(flights) != len(truth) {
		t.Fatalf("%d flights, want %d", len(flights), len(truth))
	}
	for _, want := range truth {
		var got *flight.Result
		for i := range flights {
			if flights[i].Rocket == want.Rocket && flights[i].Flight == want.Round {
				got = &flights[i]
			}
		}
		if got == nil || got.ApogeeM == nil || got.TimeToApogeeS == nil || got.MaxSpeedMps == nil || got.DescentMps == nil {
			t.Errorf("flight %d of %s is missing or incomplete: %+v", want.Round, want.Rocket, got)
			continue
		}
		if e := math.Abs(*got.ApogeeM/want.ApogeeM - 1); e > 0.03 {
			t.Errorf("%s: apogee %.2f m, truth %.2f m: off by %.1f %%, want 3 %% at most", want.Rocket, *got.ApogeeM, want.ApogeeM, 100*e)
		}
		if e := math.Abs(*got.TimeToApogeeS - want.TimeToApogeeS); e > 0.3 {
			t.Errorf("%s: %.3f s to apogee, truth %.3f s", want.Rocket, *got.TimeToApogeeS, want.TimeToApogeeS)
		}
		if want.DescentMps != nil && math.Abs(*got.DescentMps / *want.DescentMps - 1) > 0.1 {
			t.Errorf("%s: sank at %.2f m/s, truth %.2f m/s", want.Rocket, *got.DescentMps, *want.DescentMps)
		}
	}
}

func TestDemoOnVirtualClock(t *testing.T) {
	for _, seed := range []string{"1", "2", "3"} {
		t.Run("seed "+seed, func(t *testing.T) {
			dir := demoDir(t, "--seed", seed)
			flights := fromJSON[[]flight.Result](t, must(t, "flights", "--data", dir, "--json"))
			compareFlights(t, flights, readTruth(t, dir))
			// The warning that the scenario is made to show.
			for _, f := range flights {
				bad := strings.HasPrefix(f.Verdict, "bad")
				if bad != (f.Rocket == "Rust") {
					t.Errorf("%s: verdict %q", f.Rocket, f.Verdict)
				}
				if warned := strings.Contains(strings.Join(f.Alarms, " "), "release"); warned != (f.Rocket == "Rust") {
					t.Errorf("%s: alarms %v", f.Rocket, f.Alarms)
				}
			}
		})
	}
}

// The same frames with the same configuration give the same events, byte for
// byte; with another configuration the differences are shown.
func TestReplayEqualsRecording(t *testing.T) {
	dir := demoDir(t)
	recorded := must(t, "events", "--data", dir, "--json")
	if n := strings.Count(recorded, "\n"); n < 15 {
		t.Fatalf("only %d events were recorded", n)
	}
	if replayed := must(t, "replay", "--data", dir, "--speed", "max", "--json"); replayed != recorded {
		t.Errorf("replayed events differ:\n%s\nrecorded:\n%s", replayed, recorded)
	}
	if out := must(t, "replay", "--data", dir, "--speed", "max"); !strings.Contains(out, "each equal") {
		t.Errorf("replay says %q", out)
	}
	text, err := os.ReadFile(filepath.Join(dir, "padlark.toml"))
	if err != nil {
		t.Fatal(err)
	}
	warmer := filepath.Join(t.TempDir(), "warmer.toml")
	if err := os.WriteFile(warmer, []byte(strings.Replace(string(text), "temperature_c = 17.5", "temperature_c = 30", 1)), 0o644); err != nil {
		t.Fatal(err)
	}
	out := must(t, "replay", "--data", dir, "--speed", "max", "--config", warmer)
	if !strings.Contains(out, "What differs") || !strings.Contains(out, "+ ") {
		t.Errorf("replay with another temperature says %q", out)
	}
}

// A capture of a live run, read again, gives the frames of that run: here the
// capture that a run over a capture writes.
func TestCaptureOfARun(t *testing.T) {
	dir := demoDir(t)
	second := filepath.Join(t.TempDir(), "again.plarkcap")
	data := t.TempDir()
	must(t, "run", "-q", "--data", data, "--capture", second, filepath.Join(dir, "padlark.toml"))
	first, err := os.ReadFile(filepath.Join(dir, "demo.plarkcap"))
	if err != nil {
		t.Fatal(err)
	}
	again, err := os.ReadFile(second)
	if err != nil {
		t.Fatal(err)
	}
	if len(again) < len(first)*9/10 || len(again) > len(first)*11/10 {
		t.Errorf("the second capture has %d bytes, the first %d", len(again), len(first))
	}
	want := must(t, "events", "--data", dir, "--json")
	if got := must(t, "events", "--data", data, "--json"); got != want {
		t.Errorf("events of the second run differ:\n%s\nfirst:\n%s", got, want)
	}
}
