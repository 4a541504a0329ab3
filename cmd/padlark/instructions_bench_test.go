package main

import (
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"syscall"
	"testing"
	"time"

	"padlark/flight/sim"
)

// BenchmarkInstructions counts the instructions of an ARM processor (ARMv7) that a
// frame takes, live over UDP: 8 boards at 50 Hz (PADLARK_COST_ROCKETS), less what the
// program takes to start, wait as long and stop. What the kernel does for it is not in
// there. PADLARK_INSTRUCTIONS is for how many seconds; without it nothing is done.
//
//	PADLARK_INSTRUCTIONS=60 go test ./cmd/padlark -run=NONE -bench=Instructions -benchtime=1x
func BenchmarkInstructions(b *testing.B) {
	seconds := envNumber(b, "PADLARK_INSTRUCTIONS", 0)
	if seconds == 0 {
		b.Skip("PADLARK_INSTRUCTIONS=60 runs it, with gcc and qemu-arm, for two minutes")
	}
	dir := b.TempDir()
	plugin, arm := filepath.Join(dir, "count.so"), filepath.Join(dir, "padlark")
	for _, tool := range [][]string{{"gcc", "-O2", "-shared", "-fPIC", "-o", plugin, "testdata/instructions/count.c"}, {"go", "build", "-o", arm, "."}} {
		cmd := exec.Command(tool[0], tool[1:]...)
		cmd.Env = append(os.Environ(), "CGO_ENABLED=0", "GOARCH=arm", "GOARM=7")
		if out, err := cmd.CombinedOutput(); err != nil {
			b.Fatalf("%v: %v\n%s", tool, err, out)
		}
	}
	sc, err := sim.Fleet(envNumber(b, "PADLARK_COST_ROCKETS", 8), 50, 2*float64(seconds))
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		frames, with := instructions(b, sc, time.Duration(seconds)*time.Second, arm, plugin, true)
		_, without := instructions(b, sc, time.Duration(seconds)*time.Second, arm, plugin, false)
		b.ReportMetric(float64(with-without)/float64(frames), "instr_frame")
		b.ReportMetric(float64(with-without)/1e6/float64(seconds), "Minstr_s")
		b.ReportMetric(float64(without)/1e6, "Minstr-idle")
		b.ReportMetric(float64(frames), "frames")
	}
	b.ReportMetric(0, "ns/op") // the time of the whole says nothing
}

// instructions runs a station under the emulator, with frames or without.
func instructions(b *testing.B, sc sim.Scenario, span time.Duration, arm, plugin string, send bool) (frames int, count int64) {
	dir := b.TempDir()
	cfg := fmt.Sprintf("[station]\nname = \"cost\"\ndata = %q\n[web]\nlisten = \"127.0.0.1:0\"\n", filepath.Join(dir, "data"))
	to := map[string][]net.Conn{}
	for _, l := range sc.Links {
		port := freeUDP(b)
		cfg += fmt.Sprintf("[[link]]\nname = %q\nudp = %q\nlayout = %q\n", l.Name, port, l.Layout)
		conn, err := net.Dial("udp", port)
		if err != nil {
			b.Fatal(err)
		}
		defer conn.Close() //nolint:errcheck // only written to
		to[l.Name] = []net.Conn{conn}
	}
	path := filepath.Join(dir, "padlark.toml")
	if err := os.WriteFile(path, []byte(cfg), 0o644); err != nil {
		b.Fatal(err)
	}
	run := exec.CommandContext(b.Context(), "qemu-arm", "-plugin", plugin, arm, "run", path)
	run.Env = append(os.Environ(), "GOMAXPROCS=1")
	p := startProcess(b, run, "state=up", len(sc.Links))
	if send {
		frames = sendBoth(b, sc, span, to)
	} else {
		time.Sleep(span) // as long as the other run
	}
	p.end(b, syscall.SIGTERM)
	m := regexp.MustCompile(`instructions (\d+)`).FindStringSubmatch(p.log.String())
	if m == nil {
		b.Fatalf("no count:\n%s", p.log.String())
	}
	count, err := strconv.ParseInt(m[1], 10, 64)
	if err != nil {
		b.Fatal(err)
	}
	return frames, count
}
