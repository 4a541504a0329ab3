package main

import (
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"padlark/flight"
)

// TestFlightsTable: every figure has its spread, in 80 columns.
func TestFlightsTable(t *testing.T) {
	p := func(v float64) *float64 { return &v }
	at := time.Date(2026, 6, 13, 9, 0, 0, 0, time.UTC)
	var out strings.Builder
	if err := printFlights(&out, []flight.Result{{Rocket: "Marigold-7", Flight: 12, LaunchedAt: &at, ApogeeM: p(1129.24), ApogeeSD: p(39.1),
		TimeToApogeeS: p(15.523), TimeToApogeeSD: p(0.041), MaxSpeedMps: p(182.44), MaxSpeedSD: p(12.3), ReleaseLagS: p(-0.73), ReleaseLagSD: p(0.26),
		DescentMps: p(14.2), DescentSD: p(0.53), Verdict: "look: released 0.7 ± 0.3 s before apogee"}}); err != nil {
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
