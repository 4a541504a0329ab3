package main

import (
	"strings"
	"testing"
	"time"

	"padlark/flight"
)

// TestAlarmInFullOnATerminal: the whole reason of an alarm is on the screen,
// in rows that fit 80 columns, and a redraw goes up by as many rows as it drew.
func TestAlarmInFullOnATerminal(t *testing.T) {
	var out strings.Builder
	l := &lines{out: &out, live: true, states: map[string]flight.State{}, said: map[string]said{}}
	at := time.Date(2026, 6, 13, 9, 0, 0, 0, time.UTC)
	l.state(flight.State{Rocket: "Rust", Phase: flight.Descent, At: at})
	reason := "Rust comes down at 9 m/s from 108 m, 1.0 s after its apogee; free fall would be 10 m/s, and no release was seen. Impact in about 4.3 s. Look up and keep clear."
	l.alarm(flight.Alarm{ID: "a", Rocket: "Rust", Priority: flight.LookUp, Active: true, Change: 1, ChangedAt: at, Reason: reason})
	l.redraw()
	first := out.String()
	rows := strings.Split(strings.TrimSuffix(first, "\n"), "\n")
	var words []string
	for _, r := range rows {
		r = strings.TrimPrefix(r, "\r\x1b[2K")
		if n := len([]rune(r)); n > 80 {
			t.Errorf("%d columns: %s", n, r)
		}
		words = append(words, strings.Fields(r)...)
	}
	if text := strings.Join(words, " "); !strings.Contains(text, reason) {
		t.Errorf("the reason is not whole: %s", text)
	}
	if l.drawn != len(rows) {
		t.Errorf("%d rows drawn, remembered %d", len(rows), l.drawn)
	}
	// When it is over the block keeps its height, and nothing of it stays.
	out.Reset()
	l.alarm(flight.Alarm{ID: "a", Rocket: "Rust", Active: false, Acked: true, Change: 2, ChangedAt: at, Reason: reason})
	l.redraw()
	if n := strings.Count(out.String(), "\n"); n != len(rows) || strings.Contains(out.String(), "Look up") {
		t.Errorf("after the end %d rows: %q", n, out.String())
	}
}
