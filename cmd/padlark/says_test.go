package main

import (
	"path/filepath"
	"strings"
	"testing"
)

// A rocket that was never there is a mistake that names those that were.
func TestFlightsOfNoRocket(t *testing.T) {
	data := filepath.Join(t.TempDir(), "d")
	must(t, "demo", "--fast", "--exit", "--data", data)
	got := do(t, "flights", "--rocket", "teal", "--data", data)
	if got.code != exitUsage || !strings.Contains(got.err, `there is no rocket "teal" here: Plum, Rust, Teal`) {
		t.Errorf("status %d: %s%s", got.code, got.out, got.err)
	}
	if out := must(t, "flights", "--rocket", "Teal", "--data", data); strings.Contains(out, "Rust") || !strings.Contains(out, "Teal") {
		t.Errorf("of Teal: %s", out)
	}
}

// A station that is not there is told with what to look at.
func TestAliveOfNothing(t *testing.T) {
	got := do(t, "alive", "http://"+freeTCPPort(t))
	if got.code != exitBad || !strings.Contains(got.err, "nothing answers at http://127.0.0.1:") || !strings.Contains(got.err, "is padlark running there") {
		t.Errorf("status %d: %s%s", got.code, got.out, got.err)
	}
}
