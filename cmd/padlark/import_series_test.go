package main

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"padlark/flight"
	"padlark/storage/logimport"
)

// TestImportSeries: a log whose lines hold ten readings each is a flight like any
// other. Every reading is stored once with a time of its own, also if the log is
// imported again, and a replay of the session gives the same events.
func TestImportSeries(t *testing.T) {
	dir := t.TempDir()
	const layout = `[[layout]]
name = "slow-radio"
framing = "line"
form = "json"
series = { count = 10, every_ms = 20 }
fields = [
  { name = "seq", path = "/n", wrap_at = 65536 },
  { name = "clock", unit = "ms", path = "/t" },
  { name = "pressure_pa", path = "/p", series = true },
  { name = "cell_v", path = "/v" },
]
[[rocket]]
name = "Teal"
parachute_m = 0.5
mass_kg = 0.15
`
	cfg := filepath.Join(dir, "padlark.toml")
	if err := os.WriteFile(cfg, []byte(layout), 0o600); err != nil {
		t.Fatal(err)
	}
	// Thirty seconds on the pad, up without drag, down by parachute at 5 m/s.
	const up = 42.0
	top := up * up / 2 / 9.81
	height := func(at float64) float64 {
		s := at - 30
		switch {
		case s < 0:
			return 0
		case s < up/9.81:
			return up*s - 9.81/2*s*s
		}
		return math.Max(0, top-5*(s-up/9.81))
	}
	const lines = 400
	var log strings.Builder
	for n := range lines {
		var p []string
		for k := range 10 {
			s := float64(10*n+k) * 0.02
			noise := 3 * math.Sin(float64(10*n+k)*1.7)
			// The standard atmosphere near the ground (ISO 2533).
			p = append(p, fmt.Sprintf("%.1f", 101325*math.Pow(1-2.25577e-5*height(s), 5.25588)+noise))
		}
		fmt.Fprintf(&log, "{\"n\":%d,\"t\":%d,\"p\":[%s],\"v\":4.01}\n", n, 200*n+180, strings.Join(p, ","))
	}
	path := filepath.Join(dir, "slow.log")
	if err := os.WriteFile(path, []byte(log.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	data := filepath.Join(dir, "data")
	args := []string{"import", path, "--config", cfg, "--layout", "slow-radio", "--rocket", "Teal", "--data", data, "--json"}
	first := must(t, args...)
	if again := must(t, args...); again != first {
		t.Errorf("the second import did something else:\n%s\n%s", first, again)
	}
	session := fromJSON[logimport.Done](t, first).Session
	flights := fromJSON[[]flight.Result](t, must(t, "flights", "--json", "--data", data, session))
	if len(flights) != 1 || math.Abs(*flights[0].ApogeeM-top) > 3 {
		t.Fatalf("%d flights, want one to %.1f m: %+v", len(flights), top, flights)
	}
	must(t, "replay", "--speed", "max", "--data", data, session) // equals the recorded events
	out := filepath.Join(dir, "all.csv")
	must(t, "export", session, "-o", out, "--data", data)
	text, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(string(text), "\n") - 1; n != 10*lines {
		t.Errorf("%d samples were stored, want %d", n, 10*lines)
	}
}
