package main

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"net"
	"os"
	"strconv"
	"sync"
	"testing"
	"time"

	"padlark/ingest"
	"padlark/storage"
)

// Helpers of the tests under field conditions: boards that number their
// frames, and an archive that is asked which numbers it holds.

// mark names one frame that was sent: who sent it and its number.
type mark struct {
	Rocket, Seq int
}

// fieldBoards send numbered frames from several rockets at a steady rate to one
// UDP port, whether or not anybody listens.
type fieldBoards struct {
	conn  net.PacketConn
	to    net.Addr
	every time.Duration
	count int // rockets
	// pressure is what a rocket's barometer reads in Pa, so long after the start.
	pressure func(rocket int, t time.Duration) float64

	stop context.CancelFunc
	done chan struct{}

	mu   sync.Mutex
	sent map[mark]time.Time
}

// startBoards starts them; the test's end stops them.
func startBoards(t *testing.T, port string, rockets int, hz float64) *fieldBoards {
	t.Helper()
	return startBoardsAt(t, port, rockets, hz, func(int, time.Duration) float64 { return 98000 })
}

func startBoardsAt(t *testing.T, port string, rockets int, hz float64, pressure func(int, time.Duration) float64) *fieldBoards {
	t.Helper()
	to, err := net.ResolveUDPAddr("udp", port)
	if err != nil {
		t.Fatal(err)
	}
	// Not connected: a connected socket keeps a frame back after a refusal.
	conn, err := net.ListenPacket("udp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	b := &fieldBoards{
		conn: conn, to: to, count: rockets, every: time.Duration(float64(time.Second) / hz / float64(rockets)),
		pressure: pressure, stop: stop, done: make(chan struct{}), sent: map[mark]time.Time{},
	}
	go b.run(ctx)
	t.Cleanup(func() { b.halt() })
	return b
}

func (b *fieldBoards) run(ctx context.Context) {
	defer close(b.done)
	tick := time.NewTicker(b.every)
	defer tick.Stop()
	start := time.Now()
	for i := 0; ; i++ {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		m := mark{i%b.count + 1, i / b.count}
		b.mu.Lock()
		b.sent[m] = time.Now()
		b.mu.Unlock()
		at := time.Since(start)
		// An error shows as a frame that is missing.
		_, _ = b.conn.WriteTo(numbered(m, at, b.pressure(m.Rocket, at)), b.to)
	}
}

// hop is the pressure at a rocket that flies again and again: wait s of rest,
// 30 m/s upwards, free fall to apogee, then down at 3 m/s. The pressure follows
// from the height by the barometric formula of ISO 2533, from 98000 Pa and
// 15 C at the pad.
func hop(wait float64) func(int, time.Duration) float64 {
	const v, g, sink = 30.0, 9.80665, 3.0
	top := v * v / 2 / g
	return func(rocket int, at time.Duration) float64 {
		h := 0.0
		if rocket == 1 {
			t := math.Mod(at.Seconds(), wait+v/g+top/sink) - wait
			switch {
			case t > v/g:
				h = top - sink*(t-v/g)
			case t > 0:
				h = v*t - g/2*t*t
			}
		}
		// A working sensor always trembles; one that does not is told to be stuck.
		return 98000*math.Pow(1-0.0065*h/288.15, 5.25588) + 3*math.Sin(97*at.Seconds())
	}
}

// halt stops the boards and gives what they sent, and when.
func (b *fieldBoards) halt() map[mark]time.Time {
	b.stop()
	<-b.done
	_ = b.conn.Close()
	return b.sent
}

// numbered is one frame of the built-in text layout.
func numbered(m mark, clock time.Duration, pressurePa float64) []byte {
	body := fmt.Sprintf("PLRK,%d,1,%d,%d,%.0f,1500,3900,1000,0", m.Rocket, m.Seq, clock.Milliseconds(), pressurePa)
	return fmt.Appendf(nil, "$%s*%02X\r\n", body, xor(body))
}

// markOf reads the number back out of a frame's bytes.
func markOf(frame []byte) (mark, bool) {
	f := bytes.Split(frame, []byte(","))
	if len(f) < 4 {
		return mark{}, false
	}
	r, err1 := strconv.Atoi(string(f[1]))
	n, err2 := strconv.Atoi(string(f[3]))
	return mark{r, n}, err1 == nil && err2 == nil
}

// archived counts how often each numbered frame stands in an archive.
func archived(t *testing.T, data string) map[mark]int {
	t.Helper()
	out := map[mark]int{}
	eachFrame(t, data, func(_ storage.Session, f ingest.Frame) {
		m, ok := markOf(f.Bytes)
		if bytes.HasPrefix(f.Bytes, []byte("$GP")) {
			return // a receiver's, not a board's
		}
		if !ok {
			t.Fatalf("a frame nobody sent: %q", f.Bytes)
		}
		out[m]++
	})
	return out
}

// wantOnce checks that each of the frames stands in the archive once.
func wantOnce(t *testing.T, data string, sent map[mark]time.Time) {
	t.Helper()
	have := archived(t, data)
	missing := 0
	for m := range sent {
		if have[m] == 0 {
			missing++
		}
	}
	if missing > 0 {
		t.Errorf("%d of %d frames are not in the archive", missing, len(sent))
	}
	for m, n := range have {
		if n > 1 {
			t.Fatalf("frame %d of rocket %d is %d times in the archive", m.Seq, m.Rocket, n)
		}
	}
}

// numberFrom is a whole number from the environment, for the long forms.
func numberFrom(t *testing.T, name string, short int) int {
	t.Helper()
	s := os.Getenv(name)
	if s == "" {
		return short
	}
	n, err := strconv.Atoi(s)
	if err != nil || n < 1 {
		t.Fatalf("%s=%q is not a number from 1", name, s)
	}
	return n
}

// onlyInCI keeps what takes half a minute out of the everyday run.
func onlyInCI(t *testing.T) {
	t.Helper()
	if os.Getenv("PADLARK_CI") == "" {
		t.Skip("takes half a minute of real time; PADLARK_CI=1 runs it")
	}
}

// fieldConfig is a station with one UDP link of the text layout.
func fieldConfig(t *testing.T, name, data, udp, more string) string {
	t.Helper()
	return writeConfig(t, fmt.Sprintf(`
[station]
name = %q
data = %q
[web]
listen = "off"
[[link]]
name = "net"
udp = %q
layout = "lark-text"
%s`, name, data, udp, more))
}

func freePort(t *testing.T) string {
	t.Helper()
	p, err := freeUDPPort()
	if err != nil {
		t.Fatal(err)
	}
	return p
}
