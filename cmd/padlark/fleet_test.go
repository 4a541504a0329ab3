package main

import (
	"fmt"
	"io"
	"net"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"padlark/flight/sim"
)

// fleetSeconds is how long the fleet flies; PADLARK_FLEET_S sets it. The full
// form is 60.
func fleetSeconds(t *testing.T) float64 {
	t.Helper()
	s := os.Getenv("PADLARK_FLEET_S")
	if s == "" {
		return 5
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatalf("PADLARK_FLEET_S: %v", err)
	}
	return v
}

// 64 rockets at 50 Hz through real sockets: no frame is lost, and the counts
// are equal at every stage.
func TestFleet(t *testing.T) {
	const rate = 50
	rockets := 64
	if testing.Short() {
		// Short is how the race detector runs, which slows everything tenfold:
		// then the counts are looked at, not the load.
		rockets = 8
	}
	sc, err := sim.Fleet(rockets, rate, 2)
	if err != nil {
		t.Fatal(err)
	}
	var cfg strings.Builder
	data := t.TempDir()
	fmt.Fprintf(&cfg, "[station]\nname = \"fleet\"\ndata = %q\n[web]\nlisten = \"off\"\n", data)
	ports := map[string]string{}
	for _, l := range sc.Links {
		port, err := freeUDPPort()
		if err != nil {
			t.Fatal(err)
		}
		ports[l.Name] = port
		fmt.Fprintf(&cfg, "[[link]]\nname = %q\nudp = %q\nlayout = %q\n", l.Name, port, l.Layout)
	}
	p := startRunWhen(t, "state=up", len(sc.Links), writeConfig(t, cfg.String()))
	// Only now: a socket to send from may be given the port of a link that is not up.
	to := map[string]io.Writer{}
	for name, port := range ports {
		conn, err := net.Dial("udp", port)
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close() //nolint:errcheck // only written to
		to[name] = conn
	}
	sent := flyFor(t, sc, time.Duration(fleetSeconds(t)*float64(time.Second)), to)
	awaitFrames(t, data, sent)
	p.stop(t)
	if peak := peakBytes(p.cmd.ProcessState); peak > 128<<20 && rockets == 64 {
		t.Errorf("it took %d MB of memory at most", peak>>20)
	}
	if got := count(t, data, "SELECT COALESCE(SUM(count), 0) FROM frame_blocks"); got != sent {
		t.Errorf("%d frames in the archive, %d were sent", got, sent)
	}
	if got := count(t, data, "SELECT COALESCE(SUM(count), 0) FROM sample_blocks"); got != sent {
		t.Errorf("%d samples in the archive, %d frames were sent", got, sent)
	}
	if got := count(t, data, "SELECT COUNT(DISTINCT rocket) FROM sample_blocks"); got != rockets {
		t.Errorf("samples of %d rockets, want %d", got, rockets)
	}
	t.Logf("%d frames in %.0f s from %d rockets, all kept; %d MB of memory at most", sent, fleetSeconds(t), rockets, peakBytes(p.cmd.ProcessState)>>20)
}

// flyFor sends a fleet's datagrams in real time and counts them.
func flyFor(t *testing.T, sc sim.Scenario, span time.Duration, to map[string]io.Writer) (sent int) {
	t.Helper()
	s, err := sim.New(sc, 1, time.Now())
	if err != nil {
		t.Fatal(err)
	}
	start := time.Now()
	for c, err := range s.Chunks(1) {
		if err != nil {
			t.Fatal(err)
		}
		if c.Heard > span {
			return sent
		}
		if ahead := c.Heard - time.Since(start); ahead > time.Millisecond {
			<-time.After(ahead) // real boards send in real time
		}
		if _, err := to[c.Link].Write(c.Bytes); err != nil {
			t.Fatal(err)
		}
		sent++
	}
	return sent
}
