package main

import (
	"encoding/csv"
	"fmt"
	"net"
	"slices"
	"strings"
	"testing"
	"time"

	"padlark/flight"
)

// The time of a running session is fixed by a GPS sentence on its link and then
// by hand; that of a recorded one by hand. The frames stay as they were, each
// once and in order; lists, events and exports carry the corrected times and
// say how they were fixed.
func TestTimeIsFixed(t *testing.T) {
	data, udp := t.TempDir(), freePort(t)
	p := startRun(t, "state=up", fieldConfig(t, "fixed", data, udp, "[[rocket]]\nname = \"Teal\"\nid = 1\n"))
	conn, err := net.Dial("udp", udp)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close() //nolint:errcheck // only written to
	n := 0
	send := func() {
		for range 100 {
			if _, err := conn.Write(numbered(mark{1, n}, time.Duration(n)*20*time.Millisecond, 98000)); err != nil {
				t.Fatal(err)
			}
			n++
		}
	}
	fixes := func(want int) []flight.Event {
		t.Helper()
		until(t, fmt.Sprintf("%d events timefix", want), time.Minute, func() bool {
			return count(t, data, "SELECT COUNT(*) FROM events WHERE kind = 'timefix'") == want
		})
		var out []flight.Event
		for _, e := range readEvents(t, must(t, "events", "--data", data, "--json")) {
			if e.Kind == flight.TimeFix {
				out = append(out, e)
			}
		}
		return out
	}
	// shift checks the session's: that it was want at some moment since told.
	shift := func(want, told time.Time) {
		t.Helper()
		r := fromJSON[[]sessionRow](t, must(t, "sessions", "--data", data, "--json"))[0]
		least, most := time.Until(want).Seconds()-1, want.Sub(told).Seconds()+1
		if r.TimeFixedBy == "" || r.ShiftS < least || r.ShiftS > most {
			t.Errorf("shift %.1f s by %q, want %.1f to %.1f s", r.ShiftS, r.TimeFixedBy, least, most)
		}
	}
	send()
	awaitFrames(t, data, n)
	// A machine whose clock is synchronised does not believe a receiver that
	// says otherwise; there the test goes on with the order by hand.
	want := 0
	if trusted := fromJSON[[]sessionRow](t, must(t, "sessions", "--data", data, "--json"))[0].TimeFixedBy; trusted == "" {
		told := time.Now()
		gps := told.Add(10 * 365 * 24 * time.Hour).UTC()
		body := gps.Format("GPZDA,150405.00,02,01,2006,00,00")
		if _, err := fmt.Fprintf(conn, "$%s*%02X\r\n", body, xor(body)); err != nil {
			t.Fatal(err)
		}
		want++
		if e := fixes(want)[0]; !strings.Contains(e.Note, "GPS time on link net") || e.At.Sub(gps).Abs() > 3*time.Second {
			t.Errorf("%+v", e)
		}
		shift(gps, told)
	}
	send()
	told := time.Now()
	byHand := told.Add(20 * 365 * 24 * time.Hour).Truncate(time.Second)
	must(t, "time", "set", "--data", data, "--at", byHand.Format(time.RFC3339))
	want++
	if e := fixes(want)[want-1]; !strings.Contains(e.Note, "by hand") || e.At.Before(byHand) || e.At.After(byHand.Add(time.Since(told))) {
		t.Errorf("%+v", e)
	}
	shift(byHand, told)
	send()
	awaitFrames(t, data, n)
	p.stop(t)

	began := time.Date(2026, 5, 2, 11, 30, 0, 0, time.UTC)
	must(t, "time", "set", "--data", data, "--started", began.Format(time.RFC3339))
	fixes(want + 1)
	if r := fromJSON[[]sessionRow](t, must(t, "sessions", "--data", data, "--json"))[0]; !r.StartedAt.Equal(began) || !strings.Contains(r.TimeFixedBy, "by hand") {
		t.Errorf("%+v", r)
	}
	if got := count(t, data, "SELECT COALESCE(SUM(count), 0) FROM sample_blocks"); got != n {
		t.Errorf("%d samples, want %d", got, n)
	}
	if got := count(t, unpacked(t, data), "SELECT COUNT(*) FROM (SELECT mono_ns - LAG(mono_ns) OVER (ORDER BY n) AS step FROM frames) WHERE step < 0"); got != 0 {
		t.Errorf("%d frames are out of order", got)
	}
	exportsAreFixed(t, data, began)
	for args, says := range map[string]string{
		"time set --data " + data:                          "--started",
		"time set --data " + data + " --started yesterday": "is not a time like",
	} {
		if r := do(t, strings.Fields(args)...); r.code != 2 || !strings.Contains(r.err, says) {
			t.Errorf("%s: %d, %s", args, r.code, r.err)
		}
	}
}

// exportsAreFixed checks the exports of a session that began at a time told by
// hand: they have the corrected times and say how they were fixed.
func exportsAreFixed(t *testing.T, data string, began time.Time) {
	t.Helper()
	rows, err := csv.NewReader(strings.NewReader(must(t, "export", "--data", data))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	at, by := slices.Index(rows[0], "at [UTC]"), slices.Index(rows[0], "time_fixed_by")
	if at < 0 || by < 0 {
		t.Fatalf("columns %q", rows[0])
	}
	last := time.Time{}
	for _, r := range rows[1:] {
		when, err := time.Parse(time.RFC3339Nano, r[at])
		if err != nil || when.Before(last) || when.Before(began.Add(-5*time.Second)) || when.After(began.Add(5*time.Minute)) {
			t.Fatalf("a sample at %s after one at %s, want from %s on: %v", r[at], last, began, err)
		}
		if last = when; !strings.Contains(r[by], "by hand") {
			t.Fatalf("fixed by %q", r[by])
		}
	}
	first, _, _ := strings.Cut(must(t, "export", "--data", data, "--format", "line"), "\n")
	if !strings.HasPrefix(first, "# times of session ") || !strings.Contains(first, "by hand") {
		t.Errorf("line protocol begins with %q", first)
	}
}

func readEvents(t *testing.T, text string) []flight.Event {
	t.Helper()
	var out []flight.Event
	for _, line := range strings.Split(strings.TrimSpace(text), "\n") {
		if line != "" {
			out = append(out, fromJSON[flight.Event](t, line))
		}
	}
	return out
}
