package main

import (
	"bufio"
	"context"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"

	"padlark/flight/sim"
)

// beBare makes the test program the bare way: see BenchmarkFrameCost.
const beBare = "PADLARK_TEST_BARE"

// bare reads datagrams at the addresses, appends them to a file and publishes 300
// bytes for each to a subscriber on a NATS server in the process: what a recorder
// with a live bus cannot do without.
func bare(dir string, addrs []string) error {
	srv, err := server.NewServer(&server.Options{DontListen: true, NoSigs: true})
	if err != nil {
		return err
	}
	srv.Start()
	nc, err := nats.Connect("", nats.InProcessServer(srv))
	if err != nil {
		return err
	}
	got := make(chan *nats.Msg, 4096)
	if _, err := nc.ChanSubscribe("bare", got); err != nil {
		return err
	}
	go func() {
		for range got { //nolint:revive // it only takes them
		}
	}()
	f, err := os.Create(filepath.Join(dir, "bare"))
	if err != nil {
		return err
	}
	failed := make(chan error)
	for _, a := range addrs {
		conn, err := net.ListenPacket("udp", a)
		if err != nil {
			return err
		}
		go func() {
			buf, payload := make([]byte, 65536), make([]byte, 300)
			for {
				n, _, err := conn.ReadFrom(buf)
				if err == nil {
					_, err = f.Write(buf[:n])
				}
				if err == nil {
					err = nc.Publish("bare", payload)
				}
				if err != nil {
					failed <- err
					return
				}
			}
		}()
	}
	fmt.Fprintln(os.Stderr, "state=up")
	return <-failed
}

// account is what the kernel says of a process.
type account struct {
	cpu  time.Duration
	peak int64 // bytes of memory at most
	now  int64 // bytes of memory
}

func accountOf(tb testing.TB, pid int) account {
	tb.Helper()
	stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		tb.Skip("the kernel keeps no account here:", err)
	}
	// The name in brackets may hold blanks; proc(5) numbers the fields from 1.
	fields := strings.Fields(string(stat[strings.LastIndexByte(string(stat), ')')+1:]))
	ticks := 0
	for _, i := range []int{14 - 3, 15 - 3} {
		n, err := strconv.Atoi(fields[i])
		if err != nil {
			tb.Fatal(err)
		}
		ticks += n
	}
	a := account{cpu: time.Duration(ticks) * time.Second / 100}
	status, err := os.Open(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		tb.Fatal(err)
	}
	defer status.Close() //nolint:errcheck // only read from
	for sc := bufio.NewScanner(status); sc.Scan(); {
		for name, to := range map[string]*int64{"VmHWM:": &a.peak, "VmRSS:": &a.now} {
			if rest, ok := strings.CutPrefix(sc.Text(), name); ok {
				kb, err := strconv.ParseInt(strings.Fields(rest)[0], 10, 64)
				if err != nil {
					tb.Fatal(err)
				}
				*to = kb << 10
			}
		}
	}
	return a
}

// BenchmarkFrameCost measures what the kernel charges the daemon for a frame of 24
// bytes, and its peak of memory, beside the bare way in the same run: both are
// sent the same datagrams on two ports at the same time. PADLARK_COST_S is for
// how long (20 s), PADLARK_COST_ROCKETS how many boards send at 50 Hz (8).
//
//	go test ./cmd/padlark -run=NONE -bench=FrameCost -benchtime=1x
func BenchmarkFrameCost(b *testing.B) {
	seconds, rockets := envNumber(b, "PADLARK_COST_S", 20), envNumber(b, "PADLARK_COST_ROCKETS", 8)
	sc, err := sim.Fleet(rockets, float64(envNumber(b, "PADLARK_COST_HZ", 50)), 2*float64(seconds))
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		dir := b.TempDir()
		cfg := fmt.Sprintf("[station]\nname = \"cost\"\ndata = %q\n[web]\nlisten = \"off\"\n", filepath.Join(dir, "data"))
		to := map[string][]net.Conn{}
		var ours, theirs []string
		for _, l := range sc.Links {
			for _, list := range []*[]string{&ours, &theirs} {
				port := freeUDP(b)
				*list = append(*list, port)
			}
			cfg += fmt.Sprintf("[[link]]\nname = %q\nudp = %q\nlayout = %q\n", l.Name, ours[len(ours)-1], l.Layout)
		}
		path := filepath.Join(dir, "padlark.toml")
		if err := os.WriteFile(path, []byte(cfg), 0o644); err != nil {
			b.Fatal(err)
		}
		ctx, cancel := context.WithCancel(b.Context())
		daemon := beside(b, program(ctx, "run", "-q", path), len(sc.Links))
		other := exec.CommandContext(ctx, os.Args[0], append([]string{dir}, theirs...)...)
		other.Env = append(os.Environ(), beBare+"=1")
		limit := beside(b, other, 1)
		// Only now: a socket to send from may be given the port of a link that is not up.
		for i, l := range sc.Links {
			for _, port := range []string{ours[i], theirs[i]} {
				conn, err := net.Dial("udp", port)
				if err != nil {
					b.Fatal(err)
				}
				defer conn.Close() //nolint:errcheck // only written to
				to[l.Name] = append(to[l.Name], conn)
			}
		}
		d0, l0 := accountOf(b, daemon.Process.Pid), accountOf(b, limit.Process.Pid)
		n := sendBoth(b, sc, time.Duration(seconds)*time.Second, to)
		d1, l1 := accountOf(b, daemon.Process.Pid), accountOf(b, limit.Process.Pid)
		cancel()
		_, _ = daemon.Process.Wait()
		_, _ = limit.Process.Wait()
		per := func(a, z account) float64 { return float64((z.cpu - a.cpu).Microseconds()) / float64(n) }
		b.ReportMetric(per(d0, d1), "us_frame")
		b.ReportMetric(per(l0, l1), "bare_us_frame")
		b.ReportMetric(per(d0, d1)/per(l0, l1), "times_bare")
		b.ReportMetric(float64(d1.peak)/1e6, "peak_MB")
		b.ReportMetric(float64(l1.peak)/1e6, "bare_peak_MB")
		b.ReportMetric(float64(n), "frames")
	}
	b.ReportMetric(0, "ns/op") // the time of the whole says nothing
}

// beside starts a process and waits until it has said "state=up" so many times.
func beside(b *testing.B, cmd *exec.Cmd, times int) *exec.Cmd {
	b.Helper()
	pipe, err := cmd.StderrPipe()
	if err != nil {
		b.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		b.Fatal(err)
	}
	lines := bufio.NewScanner(pipe)
	for times > 0 && lines.Scan() {
		if strings.Contains(lines.Text(), "state=up") {
			times--
		}
	}
	if times > 0 {
		b.Fatal("it ended before it was up")
	}
	go func() {
		for lines.Scan() { //nolint:revive // so that it never waits
		}
	}()
	return cmd
}

func sendBoth(b *testing.B, sc sim.Scenario, span time.Duration, to map[string][]net.Conn) (sent int) {
	b.Helper()
	s, err := sim.New(sc, 1, time.Now())
	if err != nil {
		b.Fatal(err)
	}
	start := time.Now()
	for c, err := range s.Chunks(1) {
		if err != nil {
			b.Fatal(err)
		}
		if c.Heard > span {
			break
		}
		if ahead := c.Heard - time.Since(start); ahead > time.Millisecond {
			<-time.After(ahead) // real boards send in real time
		}
		conns := to[c.Link]
		for i := range conns { // in turn: whoever is first wakes the processor, and pays for it
			if _, err := conns[(sent+i)%len(conns)].Write(c.Bytes); err != nil {
				b.Fatal(err)
			}
		}
		sent++
	}
	return sent
}

func freeUDP(b *testing.B) string {
	b.Helper()
	c, err := net.ListenPacket("udp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	defer c.Close() //nolint:errcheck // only its number is wanted
	return c.LocalAddr().String()
}

func envNumber(b *testing.B, name string, fallback int) int {
	b.Helper()
	text := os.Getenv(name)
	if text == "" {
		return fallback
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 {
		b.Fatalf("%s is %q: give a whole number from 1 on", name, text)
	}
	return n
}
