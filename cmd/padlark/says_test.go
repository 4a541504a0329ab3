package main

import (
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"padlark/flight"
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

// A rocket's line says go only while it is heard, and calls for a look up only
// while an alarm does.
func TestLineSaysWhatIsSo(t *testing.T) {
	at := time.Date(2026, 5, 16, 10, 0, 0, 0, time.UTC)
	l := newLines(io.Discard)
	line := func(st flight.State) string {
		l.state(st)
		return l.stateLine(st)
	}
	waiting := flight.State{Rocket: "Teal", At: at, Phase: flight.Waiting, Go: true}
	if got := line(waiting); !strings.HasSuffix(got, "  go") {
		t.Errorf("heard just now: %q", got)
	}
	l.tick(at.Add(10 * time.Second))
	if got := l.stateLine(waiting); strings.HasSuffix(got, "  go") || !strings.Contains(got, "SILENT for 10 s") {
		t.Errorf("not heard for 10 s: %q", got)
	}
	falling := flight.State{Rocket: "Teal", At: at.Add(11 * time.Second), Phase: flight.Descent}
	if got := line(falling); !strings.HasSuffix(got, "no release seen yet") {
		t.Errorf("after the apogee: %q", got)
	}
	l.alarm(flight.Alarm{ID: "Teal/no-release/1", Rocket: "Teal", Kind: "no-release", Priority: flight.LookUp, Active: true, Change: 1, RaisedAt: falling.At, ChangedAt: falling.At})
	if got := l.stateLine(falling); !strings.HasSuffix(got, "NO RELEASE SEEN") {
		t.Errorf("with the alarm: %q", got)
	}
}

// Events stand in the order in which they happened, not in which they were found:
// the touchdown of one rocket is known after the release of the next.
func TestEventsInOrderOfTime(t *testing.T) {
	data := filepath.Join(t.TempDir(), "d")
	must(t, "demo", "--fast", "--exit", "--data", data)
	before, n := "", 0
	for line := range strings.Lines(must(t, "events", "--data", data)) {
		at, _, _ := strings.Cut(line, " ")
		if len(at) != len("15:04:05.00") {
			continue // the rest of a long one
		}
		if at < before {
			t.Errorf("after %s: %s", before, line)
		}
		before = at
		n++
	}
	if n < 12 {
		t.Errorf("%d events of three flights", n)
	}
}

// Plain bytes have no times: check gives none, and as many samples as asked for.
func TestTriedBytesHaveNoDate(t *testing.T) {
	bytes := filepath.Join(t.TempDir(), "bytes")
	must(t, "sim", "--fleet", "1", "--file", bytes)
	config := writeConfig(t, "[[link]]\nname = \"pad\"\nserial = \"/dev/x\"\nbaud = 9600\nlayout = \"lark-bin\"\n")
	out := must(t, "check", config, "--try", bytes, "--json", "--first", "3")
	if n := strings.Count(out, "\n"); n != 3 || strings.Contains(out, "1970") || !strings.Contains(out, `"heard":null`) {
		t.Errorf("%d samples:\n%s", n, out)
	}
}

// padlark.toml of the folder is found without being named.
func TestConfigurationOfTheFolder(t *testing.T) {
	t.Chdir(t.TempDir())
	if got := do(t, "check"); got.code != exitUsage || !strings.Contains(got.err, "padlark.toml") {
		t.Errorf("without one: status %d: %s", got.code, got.err)
	}
	text := "[station]\ndata = \"here\"\n[[link]]\nname = \"pad\"\nudp = \":9750\"\nlayout = \"lark-bin\"\n"
	if err := os.WriteFile("padlark.toml", []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	if out := must(t, "check"); !strings.Contains(out, "data in here") {
		t.Errorf("check says %s", out)
	}
	must(t, "demo", "--fast", "--exit", "--data", "here")
	if out := must(t, "sessions"); strings.Count(out, "\n") < 2 {
		t.Errorf("sessions: %s", out)
	}
}

// A flight is named in the same way for every command.
func TestFlightsAreNamedAlike(t *testing.T) {
	dir := t.TempDir()
	data, one, two := filepath.Join(dir, "d"), filepath.Join(dir, "1.csv"), filepath.Join(dir, "2.csv")
	must(t, "demo", "--fast", "--exit", "--data", data)
	must(t, "export", "Teal-1", "--data", data, "--out", one)
	must(t, "export", "--rocket", "Teal", "--flight", "1", "--data", data, "--output", two)
	a, err := os.ReadFile(one)
	if err != nil {
		t.Fatal(err)
	}
	if b, err := os.ReadFile(two); err != nil || len(a) == 0 || string(a) != string(b) {
		t.Errorf("%d and %d bytes, %v", len(a), len(b), err)
	}
	if got := do(t, "export", "Teal-9", "--data", data); got.code != exitUsage || !strings.Contains(got.err, "Teal-9") {
		t.Errorf("status %d: %s", got.code, got.err)
	}
}
