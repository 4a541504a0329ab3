package main

import (
	"regexp"
	"strings"
	"testing"
	"time"

	"padlark/flight"
	"padlark/flight/phrase"
)

// Who asks for feet reads feet everywhere: in tables, verdicts, alarms and pages; JSON
// stays in SI units. 1 ft is 0.3048 m exactly (agreement of 1959).
func TestFeet(t *testing.T) {
	dir := demoDir(t)
	metres := regexp.MustCompile(`[0-9] m(/s2?|/s²)?\b|, m\b|>[a-z]+ m(/s)?<`)
	for _, args := range [][]string{
		{"flights", "--all"}, {"report", "Rust-1"}, {"report", "Teal-1", "-o", "-"}, {"compare", "Teal-1", "Plum-1", "--against", "Rust-1"},
		{"compare", "Teal-1", "Plum-1", "-o", "-"}, {"alarms"},
	} {
		args = append(args, "--data", dir)
		if out := must(t, args...); !metres.MatchString(out) && args[0] != "flights" && args[0] != "compare" {
			t.Errorf("%v has no metres at all:\n%s", args, out)
		}
		out := must(t, append(args, "--units", "feet")...)
		if m := metres.FindStringIndex(out); m != nil {
			t.Errorf("%v in feet says …%s…", args, out[max(0, m[0]-60):min(len(out), m[1]+20)])
		}
		if !strings.Contains(out, "ft") {
			t.Errorf("%v in feet has no feet:\n%s", args, out)
		}
	}
	if metric, feet := must(t, "report", "Teal-1", "--json", "--data", dir), must(t, "report", "Teal-1", "--json", "--data", dir, "--units", "feet"); metric != feet {
		t.Error("the numbers in JSON are others in feet")
	}

	l := &lines{reader: phrase.Reader{Feet: true}, now: time.Unix(1, 0)}
	h, v := 91.44, -3.048
	if got, want := l.stateLine(flight.State{Rocket: "Teal", Phase: flight.Descent, At: l.now, AltitudeM: &h, HighestM: &h, SpeedMps: &v}), "Teal       descent    300.0 ft  -10.0 ft/s  max  300.0 ft       –  no release seen yet"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}
