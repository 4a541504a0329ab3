package logimport

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"
)

// clocks is a log of lines with these clocks, in ms.
func clocks(ms ...int64) string {
	var b strings.Builder
	for i, c := range ms {
		fmt.Fprintf(&b, "%d,%d,3.9\n", c, 101325-i%7)
	}
	return b.String()
}

// steps are n clocks from a first one on.
func steps(n int, from, by int64) (out []int64) {
	for i := range int64(n) {
		out = append(out, from+i*by)
	}
	return out
}

// TestClocksOfALog: which lines are believed, and when they were.
func TestClocksOfALog(t *testing.T) {
	const unix = 1_764_512_345_000
	for _, c := range []struct {
		name    string
		clocks  []int64
		skipped []int // lines
		length  time.Duration
		runs    int    // stretches
		hint    string // that is given
	}{
		{name: "even", clocks: steps(100, 500, 20), length: 1980 * time.Millisecond, runs: 1},
		{name: "one line", clocks: steps(1, 500, 20), runs: 1},
		{name: "two lines an hour apart", clocks: []int64{0, 3_600_000}, length: time.Hour, runs: 1},
		{name: "a line each 20 s", clocks: steps(50, 0, 20_000), length: 980 * time.Second, runs: 1},
		{name: "a line each minute", clocks: steps(50, 0, 60_000), length: 49 * time.Minute, runs: 1},
		{name: "seldom, often, seldom", clocks: slices.Concat(steps(10, 0, 5000), steps(500, 50_000, 20), steps(10, 65_000, 5000)), length: 110 * time.Second, runs: 1},
		{name: "a second missing", clocks: slices.Concat(steps(50, 0, 20), steps(50, 2000, 20)), length: 2980 * time.Millisecond, runs: 1},
		{name: "one ahead", clocks: slices.Concat(steps(50, 0, 20), []int64{91_000}, steps(50, 1020, 20)), skipped: []int{51}, length: 2 * time.Second, runs: 1},
		{name: "one back", clocks: slices.Concat(steps(500, 0, 20), []int64{20}, steps(50, 10_020, 20)), skipped: []int{501}, length: 11 * time.Second, runs: 1},
		{name: "two that disagree", clocks: slices.Concat(steps(50, 0, 20), []int64{91_000, 40_000_000}, steps(50, 1040, 20)), skipped: []int{51, 52}, length: 2020 * time.Millisecond, runs: 1},
		{name: "the first", clocks: slices.Concat([]int64{9e9}, steps(50, 20, 20)), skipped: []int{1}, length: 980 * time.Millisecond, runs: 1},
		{name: "the last", clocks: slices.Concat(steps(50, 0, 20), []int64{9e9}), skipped: []int{51}, length: 980 * time.Millisecond, runs: 1},
		{name: "started again", clocks: slices.Concat(steps(500, 0, 20), steps(50, 300, 20)), length: 980 * time.Millisecond, runs: 2},
		{name: "set", clocks: slices.Concat(steps(500, 0, 20), steps(500, unix, 20)), length: 19_980 * time.Millisecond, runs: 1, hint: "it was set"},
		{name: "set by a thousand years", clocks: slices.Concat(steps(500, unix, 20), steps(500, 20*unix, 20)), length: 19_980 * time.Millisecond, runs: 1, hint: "it was set"},
		{name: "a pause of 7 h", clocks: slices.Concat(steps(500, 0, 20), steps(500, 7*3600_000, 20)), length: 7*time.Hour + 9980*time.Millisecond, runs: 1, hint: "nothing was logged for 6 h 59 min before frame 501"},
		{name: "time of day, a pause of a week", clocks: slices.Concat(steps(500, unix, 20), steps(500, unix+7*86400_000, 20)), length: 7*24*time.Hour + 9980*time.Millisecond, runs: 1, hint: "nothing was logged for 7 days"},
	} {
		t.Run(c.name, func(t *testing.T) {
			l, err := Read(t.Context(), source(t, []byte(clocks(c.clocks...))), plain())
			if err != nil {
				t.Fatal(err)
			}
			var skipped []int
			for _, s := range l.Skipped {
				skipped = append(skipped, s.Line)
			}
			if !slices.Equal(skipped, c.skipped) || l.Good != len(c.clocks)-len(c.skipped) {
				t.Errorf("skipped %v, want %v; %d good", l.Skipped, c.skipped, l.Good)
			}
			if len(l.Stretches) != c.runs {
				t.Fatalf("stretches %+v, want %d", l.Stretches, c.runs)
			}
			if got := l.Stretches[c.runs-1].Length.Round(time.Millisecond); got != c.length { // of a clock of a thousand years a float64 tells some us
				t.Errorf("the last stretch lasts %v, want %v", got, c.length)
			}
			if said := strings.Join(l.Hints, "\n"); c.hint == "" != (said == "") || !strings.Contains(said, c.hint) {
				t.Errorf("hints %q, want %q", said, c.hint)
			}
			if n := len(framesOf(t, l)); n != l.Good {
				t.Errorf("%d frames of %d good lines", n, l.Good)
			}
		})
	}
}
