//go:build linux

package main

import (
	"fmt"
	"io"
	"net"
	"os"
	"regexp"
	"strconv"
	"testing"
	"time"

	"padlark/flight/sim"
)

// written is how many bytes a process has caused to be written to disk, by the
// kernel's account (proc(5): write_bytes of /proc/PID/io).
func written(t *testing.T, pid int) int64 {
	t.Helper()
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/io", pid))
	if err != nil {
		t.Skip("the kernel keeps no account here:", err)
	}
	m := regexp.MustCompile(`(?m)^write_bytes: (\d+)`).FindSubmatch(b)
	if m == nil {
		t.Fatalf("no write_bytes in %q", b)
	}
	n, err := strconv.ParseInt(string(m[1]), 10, 64)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// What bounds the bytes written to disk per frame of 24 bytes on the pad, in the
// short form and the long one, and in flight: more than what was measured,
// see testdata/measured.md, where it stands what they are made of.
const (
	mostShort   = 220
	mostLong    = 120
	mostFlights = 300
)

// Nothing is written while nothing is heard, and with 8 rockets at 20 Hz a frame
// costs a bounded number of bytes. PADLARK_WRITES_S=180 is the long form, and with
// PADLARK_WRITES_PAD=2 they lift off after so many seconds and are in flight for
// most of a minute; else they stay on the pad.
func TestBytesWritten(t *testing.T) {
	onlyInCI(t)
	t.Parallel() // it mostly waits, and counts only its own process
	pad, seconds := numberFrom(t, "PADLARK_WRITES_PAD", 600), numberFrom(t, "PADLARK_WRITES_S", 15)
	sc, err := sim.Fleet(8, 20, float64(pad))
	if err != nil {
		t.Fatal(err)
	}
	data, cfg := t.TempDir(), ""
	to := map[string]io.Writer{}
	for _, l := range sc.Links {
		port := freePort(t)
		cfg += fmt.Sprintf("[[link]]\nname = %q\nudp = %q\nlayout = %q\n", l.Name, port, l.Layout)
		conn, err := net.Dial("udp", port)
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close() //nolint:errcheck // only written to
		to[l.Name] = conn
	}
	p := startRunWhen(t, "state=up", len(sc.Links), writeConfig(t, fmt.Sprintf("[station]\nname = \"card\"\ndata = %q\n[web]\nlisten = \"off\"\n%s", data, cfg)))
	pid := p.cmd.Process.Pid
	settle := func() int64 {
		t.Helper()
		last, since := written(t, pid), time.Now()
		until(t, "the disk rests", 60*time.Second, func() bool {
			if n := written(t, pid); n != last {
				last, since = n, time.Now()
			}
			return time.Since(since) > 13*time.Second // the alarms about the silence are written, too
		})
		return last
	}
	before := settle()
	<-time.After(5 * time.Second)
	if n := written(t, pid); n != before {
		t.Errorf("%d bytes written in 5 s in which nothing was heard", n-before)
	}
	sent := flyFor(t, sc, time.Duration(seconds)*time.Second, to)
	awaitFrames(t, data, sent)
	per := float64(settle()-before) / float64(sent)
	t.Logf("%d frames of 24 bytes: %.0f bytes written per frame, %.1f times its size", sent, per, per/24)
	most := float64(mostShort)
	if pad < 60 {
		most = mostFlights
	} else if seconds > 120 {
		most = mostLong
	}
	if per > most {
		t.Errorf("%.0f bytes written per frame, want at most %.0f", per, most)
	}
	before = written(t, pid)
	<-time.After(5 * time.Second)
	if n := written(t, pid); n != before {
		t.Errorf("%d bytes written in 5 s in which nothing was heard", n-before)
	}
	p.stop(t)
}
