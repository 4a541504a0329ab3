package main

import (
	"fmt"
	"io"
	"net"
	"os"
	"syscall"
	"testing"
	"time"

	"padlark/flight"
	"padlark/flight/sim"
)

// shortHop is one rocket that goes up after five seconds, releases late, and is
// down ten seconds later.
const shortHop = `
name = "hop"
round_s = 30.0
break_s = 8.0
[site]
elevation_m = 212.0
temperature_c = 17.5
[[link]]
name = "field-wifi"
kind = "udp"
layout = "lark-bin"
[[board]]
link = "field-wifi"
liftoff_s = 6.0
apogee_m = 40.0
sink_mps = 6.0
release_lag_s = 1.5
noise_m = 0.2
step_pa = 0.1
[board.rocket]
name = "Teal"
id = 7
release = "servo"
cell = "lipo-1s"
release_delay_s = 0.5
rate_hz = 50
`

// A daemon that is killed in mid-flight and started again goes on with the same
// session and the same flight, with its alarms, and says nothing twice.
func TestKilledInFlight(t *testing.T) {
	if testing.Short() {
		t.Skip("takes half a minute of real time")
	}
	for name, by := range map[string]os.Signal{"kill": os.Kill, "service stop": syscall.SIGTERM, "Ctrl-C": os.Interrupt} {
		t.Run(name, func(t *testing.T) {
			t.Parallel() // it mostly waits
			endedInFlight(t, by)
		})
	}
}

// endedInFlight ends the daemon with a rocket in the air and starts it again.
func endedInFlight(t *testing.T, by os.Signal) {
	sc, err := sim.Parse([]byte(shortHop))
	if err != nil {
		t.Fatal(err)
	}
	port, err := freeUDPPort()
	if err != nil {
		t.Fatal(err)
	}
	data := t.TempDir()
	cfg := writeConfig(t, fmt.Sprintf(`
[station]
name = "hop"
data = %q
[web]
listen = "off"
[[link]]
name = "field-wifi"
udp = %q
layout = "lark-bin"
[[rocket]]
name = "Teal"
id = 7
cell = "lipo-1s"
release = "servo"
release_delay_s = 0.5
[site]
temperature_c = 17.5
elevation_m = 212
`, data, port))
	p := startRun(t, "state=up", cfg)
	conn, err := net.Dial("udp", port)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close() //nolint:errcheck // only written to
	s, err := sim.New(sc, 3, time.Now())
	if err != nil {
		t.Fatal(err)
	}
	flown := make(chan error, 1)
	go func() { flown <- fly(t.Context(), s, 1, map[string]io.Writer{"field-wifi": unheard{conn}}) }()
	// The alarm about the late release is up, the rocket still in the air.
	await(t, data, "SELECT COUNT(*) FROM alarms WHERE kind LIKE '%release%' AND active = 1")
	// A remote shell that is cut off ends nothing.
	if err := p.cmd.Process.Signal(syscall.SIGHUP); err != nil {
		t.Fatal(err)
	}
	if err := p.cmd.Process.Signal(by); err != nil {
		t.Fatal(err)
	}
	<-p.ended
	p = startRun(t, "goes on after an interruption", cfg)
	if err := <-flown; err != nil {
		t.Fatal(err)
	}
	await(t, data, "SELECT COUNT(*) FROM events WHERE kind = 'touchdown'")
	p.stop(t)

	flights := fromJSON[[]flight.Result](t, must(t, "flights", "--data", data, "--json", "--all"))
	if len(flights) != 1 {
		t.Fatalf("%d flights, want one: %+v", len(flights), flights)
	}
	keptOnce(t, data, flights[0], s.Truth()[0])
}

// keptOnce checks that nothing of the one flight in a folder is there twice or
// is missing.
func keptOnce(t *testing.T, data string, f flight.Result, truth sim.Truth) {
	t.Helper()
	if f.ApogeeM == nil || *f.ApogeeM < 0.97*truth.ApogeeM || *f.ApogeeM > 1.03*truth.ApogeeM {
		t.Errorf("apogee %v, truth %.1f m", f.ApogeeM, truth.ApogeeM)
	}
	for _, c := range []struct {
		what, query string
		want        int
	}{
		{"sessions", "SELECT COUNT(*) FROM sessions", 1},
		{"liftoffs", "SELECT COUNT(*) FROM events WHERE kind = 'liftoff'", 1},
		{"apogees", "SELECT COUNT(*) FROM events WHERE kind = 'apogee'", 1},
		{"releases", "SELECT COUNT(*) FROM events WHERE kind = 'release'", 1},
		{"alarms about the release", "SELECT COUNT(DISTINCT id) FROM alarms WHERE kind LIKE '%release%'", 1},
		{"alarms about the release that have cleared", "SELECT COUNT(*) FROM alarms WHERE kind LIKE '%release%' AND active = 0", 1},
	} {
		if got := count(t, data, c.query); got != c.want {
			t.Errorf("%s: %d, want %d", c.what, got, c.want)
		}
	}
	rows := unpacked(t, data)
	for _, c := range []struct{ what, query string }{
		{"samples without a frame", "SELECT COUNT(*) FROM samples s LEFT JOIN frames f ON f.link = s.link AND f.n = s.n WHERE f.n IS NULL"},
		{"frames that are neither sample nor reject", "SELECT COUNT(*) FROM frames f LEFT JOIN samples s ON f.link = s.link AND f.n = s.n LEFT JOIN rejects r ON r.link = f.link AND r.n = f.n WHERE s.n IS NULL AND r.n IS NULL"},
	} {
		if got := count(t, rows, c.query); got != 0 {
			t.Errorf("%s: %d", c.what, got)
		}
	}
}

// await polls the archive until a count is not 0.
func await(t *testing.T, data, query string) {
	t.Helper()
	deadline := time.Now().Add(40 * time.Second)
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for count(t, data, query) == 0 {
		if time.Now().After(deadline) {
			t.Fatalf("still nothing after 40 s: %s", query)
		}
		<-tick.C
	}
}
