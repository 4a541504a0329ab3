package main

import (
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"padlark/flight"
)

// The large form of three rockets, of which one is in danger: it comes first,
// over the words, and everything stays within the terminal.
func TestBoardInLargeDigits(t *testing.T) {
	now := time.Date(2026, 6, 13, 9, 0, 0, 0, time.UTC)
	v := func(x float64) *float64 { return &x }
	l := &lines{now: now, states: map[string]flight.State{
		"Teal": {Rocket: "Teal", At: now, Phase: flight.Waiting, Go: true, AltitudeM: v(0.2), SpeedMps: v(0)},
		"Rust": {Rocket: "Rust", At: now, Phase: flight.Descent, AltitudeM: v(47.3), SpeedMps: v(-21), HighestM: v(81)},
		"Moss": {Rocket: "Moss", At: now.Add(-10 * time.Second), Phase: flight.Coast, AltitudeM: v(60)},
	}, alarms: []flight.Alarm{{ID: "1", Rocket: "Rust", Kind: "ballistic", Priority: flight.LookUp, Active: true, Reason: "Rust is falling without its parachute", RaisedAt: now}}}
	if got := l.byUrgency(); !cmp.Equal(got, []string{"Rust", "Moss", "Teal"}) {
		t.Errorf("order %v", got)
	}
	for _, size := range [][2]int{{80, 23}, {40, 12}, {132, 60}} {
		rows := l.board(size[0], size[1])
		if len(rows) > size[1] {
			t.Errorf("%v: %d rows", size, len(rows))
		}
		for _, r := range rows {
			if n := len([]rune(r)); n > size[0] {
				t.Errorf("%v: a row of %d columns: %s", size, n, r)
			}
		}
	}
	text := strings.Join(l.board(80, 23), "\n")
	// 4 and 7 as they are drawn, beside each other: their second row.
	for _, want := range []string{"██  ██     ██ ", "-21.0 m/s", "highest 81 m", "!!! LOOK UP  Rust is falling without its parachute", "Moss  SILENT for 10 s"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
	if !strings.HasPrefix(strings.TrimSpace(text), "██") {
		t.Errorf("the words LOOK UP do not stand first:\n%s", text)
	}
	l.alarms = nil
	if text := strings.Join(l.board(80, 60), "\n"); strings.Count(text, "─\n")+1 < 3 || strings.Contains(text, "more") {
		t.Errorf("three rockets have room on a tall screen:\n%s", text)
	}
	if got := do(t, "watch", "--screen", "nats://127.0.0.1:1"); got.code != exitUsage || !strings.Contains(got.err, "needs a terminal") {
		t.Errorf("without a terminal: %+v", got)
	}
}
