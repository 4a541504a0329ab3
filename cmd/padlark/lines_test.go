package main

import (
	"bytes"
	"fmt"
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
	first := strings.TrimPrefix(out.String(), "\a")
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

// TestRecordedLinesAreInOrder: an alarm that comes after later states is
// printed where it belongs.
func TestRecordedLinesAreInOrder(t *testing.T) {
	var out strings.Builder
	l := &lines{out: &out, hold: true, states: map[string]flight.State{}, said: map[string]said{}}
	at := func(s int) time.Time { return time.Date(2026, 6, 13, 9, 0, s, 0, time.UTC) }
	l.state(flight.State{Rocket: "Rust", Phase: flight.Descent, At: at(10)})
	l.state(flight.State{Rocket: "Rust", Phase: flight.Landed, At: at(30)})
	if out.Len() > 0 {
		t.Fatalf("printed too early: %s", out.String())
	}
	l.alarm(flight.Alarm{ID: "a", Rocket: "Rust", Priority: flight.LookUp, Active: true, Change: 1, ChangedAt: at(12), Reason: "no release"})
	early := out.String()
	if n := strings.Count(early, "\n"); n != 2 || strings.Contains(early, "landed") {
		t.Errorf("after the alarm %d lines: %s", n, early)
	}
	l.release(time.Time{})
	var seen []string
	for _, word := range []string{"descent", "no release", "landed"} {
		if strings.Contains(out.String(), word) {
			seen = append(seen, word)
		}
	}
	text := out.String()
	if len(seen) != 3 || strings.Index(text, "descent") > strings.Index(text, "no release") || strings.Index(text, "no release") > strings.Index(text, "landed") {
		t.Errorf("not in order:\n%s", text)
	}
}

// Of ids that nobody configured a few are shown, and ours always.
func TestLinesHideACrowd(t *testing.T) {
	var out bytes.Buffer
	l := newLines(&out)
	l.rockets = []flight.Rocket{{Name: "Teal"}}
	at := time.Date(2026, 5, 9, 10, 0, 0, 0, time.UTC)
	for i := range 300 {
		l.state(flight.State{Rocket: fmt.Sprintf("id-%d", i), Phase: flight.Waiting, At: at})
		l.alarm(flight.Alarm{ID: fmt.Sprint(i), Rocket: fmt.Sprintf("id-%d", i), Kind: "ballistic", Active: true, Change: 1, ChangedAt: at})
	}
	l.state(flight.State{Rocket: "Teal (2)", Phase: flight.Waiting, At: at})
	text := out.String()
	if n := strings.Count(text, "\n"); n != 2*mostGuests+2 || !strings.Contains(text, "Teal (2)") || strings.Count(text, "more unknown ids") != 1 {
		t.Errorf("%d lines:\n%s", n, text)
	}
}

// On a terminal with colours LOOK UP is bold red and rings once; without colours it
// rings all the same, and a pipe gets neither.
func TestLookUpIsLoud(t *testing.T) {
	at := time.Date(2026, 6, 13, 9, 0, 0, 0, time.UTC)
	up := flight.Alarm{ID: "a", Rocket: "Rust", Kind: "ballistic", Priority: flight.LookUp, Active: true, Change: 1, ChangedAt: at, Reason: "Rust falls."}
	for _, c := range []struct {
		live, colour bool
		bells, reds  int
	}{{true, true, 1, 2}, {true, false, 1, 0}, {false, false, 0, 0}} {
		var out strings.Builder
		l := &lines{out: &out, live: c.live, colour: c.colour, states: map[string]flight.State{}, said: map[string]said{}}
		l.state(flight.State{Rocket: "Teal", Phase: flight.Waiting, At: at})
		l.alarm(up)
		l.redraw()
		l.redraw()
		text := out.String()
		if bells, reds := strings.Count(text, "\a"), strings.Count(text, "\x1b[1;31m!!! LOOK UP")+strings.Count(text, "\x1b[1;31m  !!! LOOK UP"); bells != c.bells || reds != c.reds {
			t.Errorf("live %v, colour %v: %d bells and %d in red, want %d and %d: %q", c.live, c.colour, bells, reds, c.bells, c.reds, text)
		}
	}
}

// Text without gaps is wrapped in columns, of which wide characters take two, and no
// line begins with a mark that closes.
func TestWrapWide(t *testing.T) {
	var out strings.Builder
	wrapTo(&out, 12, "! ", "上を見て、Tealが落下中。")
	if want := "! 上を見て、\n  Tealが落下\n  中。\n"; out.String() != want {
		t.Errorf("%q, want %q", out.String(), want)
	}
}
