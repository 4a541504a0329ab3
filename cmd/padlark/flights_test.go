package main

import (
	"path/filepath"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"padlark/flight"
	"padlark/flight/phrase"
)

// TestFlightsTable: every figure has its spread, in 80 columns.
func TestFlightsTable(t *testing.T) {
	p := func(v float64) *float64 { return &v }
	at := time.Date(2026, 6, 13, 9, 0, 0, 0, time.UTC)
	var out strings.Builder
	if err := printFlights(&out, phrase.Reader{}, []flight.Result{{Rocket: "Marigold-7", Flight: 12, LaunchedAt: &at, ApogeeM: p(1129.24), ApogeeSD: p(39.1),
		TimeToApogeeS: p(15.523), TimeToApogeeSD: p(0.041), MaxSpeedMps: p(182.44), MaxSpeedSD: p(12.3), ReleaseLagS: p(-0.73), ReleaseLagSD: p(0.26),
		DescentMps: p(14.2), DescentSD: p(0.53), Verdict: "look: released 0.7 ± 0.3 s before apogee"}}, noCurve); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"1129.2±39.1", "15.52±0.04", "182.4±12.3", "-0.7±0.3", "14.2±0.5"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("no %q in\n%s", want, out.String())
		}
	}
	for line := range strings.Lines(out.String()) {
		if n := utf8.RuneCountInString(strings.TrimRight(line, "\n")); n > 80 {
			t.Errorf("%d columns: %s", n, line)
		}
	}
}

// Where it came down is said in metres and a bearing, and by what that is known.
func TestFlightsTellLanding(t *testing.T) {
	at := time.Date(2025, 6, 14, 9, 30, 0, 0, time.UTC)
	p := func(v float64) *float64 { return &v }
	list := []flight.Result{
		{Rocket: "Teal", Flight: 1, TouchdownAt: &at, Verdict: "good: it flew", Landing: &flight.Landing{RangeM: 82.4, BearingDeg: 143.2,
			LatitudeDeg: p(52.1), LongitudeDeg: p(-5.3), AlongM: 8, AcrossM: 8, Source: flight.FromGPS}},
		{Rocket: "Rust", Flight: 1, Verdict: "look: silent", Landing: &flight.Landing{RangeM: 120, BearingDeg: 350, AlongM: 90, AcrossM: 70, Source: flight.FromWind}},
	}
	var out strings.Builder
	if err := printFlights(&out, phrase.Reader{}, list, noCurve); err != nil {
		t.Fatal(err)
	}
	got := strings.Join(strings.Fields(out.String()), " ")
	for _, want := range []string{
		"landed 82 m from the pad at 143° (south-east), 52.10000° -5.30000°, by GPS: 95 of 100 within 8 m by 8 m of there",
		"should lie 120 m from the pad at 350° (north), by the site's wind alone: 95 of 100 within 90 m by 70 m of there",
	} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is not in\n%s", want, out.String())
		}
	}
	for line := range strings.Lines(out.String()) {
		if n := utf8.RuneCountInString(strings.TrimRight(line, "\n")); n > 80 {
			t.Errorf("%d columns: %s", n, line)
		}
	}
}

func noCurve(flight.Result) string { return "" }

// Over all sessions each has its date, and each flight a small curve that rises and
// falls; what all come to stands below.
func TestFlightsOfAllSessions(t *testing.T) {
	data := filepath.Join(t.TempDir(), "d")
	must(t, "demo", "--fast", "--exit", "--data", data)
	out := must(t, "flights", "--all", "--data", data)
	for _, want := range []string{"2026, session ", "In all 3 flights of 3 rockets on 1 day; the highest 112.", "Rust-1"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
	curves := 0
	for line := range strings.Lines(out) {
		line = strings.TrimRight(line, "\n")
		if n := utf8.RuneCountInString(line); n > columns {
			t.Errorf("%d columns: %s", n, line)
		}
		if c := []rune(strings.TrimSpace(line)); len(c) == curveWidth && strings.ContainsRune(line, '█') {
			curves++
			if c[0] == '█' || c[len(c)-1] != '▁' {
				t.Errorf("a curve that does not come down: %s", string(c))
			}
		}
	}
	if curves != 3 {
		t.Errorf("%d curves in\n%s", curves, out)
	}
}
