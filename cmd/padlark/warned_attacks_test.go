package main

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"net"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"time"
)

// attack is what somebody does while the rocket falls. beside runs until its
// context ends; between stands between the board and its link.
type attack struct {
	name    string
	part    int64 // of the machine, in sixths, that it and its station keep busy; 0 is two
	beside  func(ctx context.Context, b *besieged)
	between func(b *besieged, pad io.Writer) io.Writer
}

// whole is the whole machine.
const whole = 6

func (a attack) share() int64 {
	if a.part > 0 {
		return a.part
	}
	return 2
}

// sealed is a sentence with its checksum.
func sealed(text string) []byte {
	var sum byte
	for i := 1; i < len(text); i++ {
		sum ^= text[i]
	}
	return fmt.Appendf(nil, "%s*%02X\r\n", text, sum)
}

// every sends datagrams to an address, so many at each beat, until ctx ends.
func every(ctx context.Context, addr string, beat time.Duration, n int, frame func(i int) []byte) {
	conn, err := net.Dial("udp", addr)
	if err != nil {
		return
	}
	defer conn.Close() //nolint:errcheck // only written to
	tick := time.NewTicker(beat)
	defer tick.Stop()
	for i := 0; ; {
		for range n {
			_, _ = conn.Write(frame(i)) // a full buffer is the attacker's trouble
			i++
		}
		select {
		case <-tick.C:
		case <-ctx.Done():
			return
		}
	}
}

// fallOf is the height of something that is thrown up again and again, m.
func fallOf(s float64) float64 {
	s = math.Mod(s, 10)
	return math.Max(0, 45*s-4.9*s*s)
}

func attacks() []attack {
	return []attack{
		{name: "one number", beside: func(ctx context.Context, b *besieged) {
			every(ctx, b.evil, 100*time.Millisecond, 1, func(i int) []byte {
				return sealed(fmt.Sprintf("$PLRK,100,1,%d,%d,1e308,1850,4000,1000,0", i, 100*i))
			})
		}},
		{name: "one number under our id", beside: func(ctx context.Context, b *besieged) {
			every(ctx, b.evil, 20*time.Millisecond, 1, func(i int) []byte {
				return sealed(fmt.Sprintf("$PLRK,8,9,%d,%d,100000,1e308,1e308,1e308,0", i, 20*i))
			})
		}},
		{name: "random bits in wide floats", beside: func(ctx context.Context, b *besieged) {
			rng := rand.New(rand.NewPCG(1, 1))
			every(ctx, b.wide, 5*time.Millisecond, 2, func(i int) []byte {
				out := []byte{byte(100 + i%50)}
				for range 4 {
					out = binary.LittleEndian.AppendUint64(out, rng.Uint64())
				}
				return out
			})
		}},
		{name: "made-up ids", part: 3, beside: func(ctx context.Context, b *besieged) {
			every(ctx, b.evil, 10*time.Millisecond, 10, func(i int) []byte {
				return sealed(fmt.Sprintf("$PLRK,%d,1,0,0,100000,1850,4000,1000,0", 1000+i))
			})
		}},
		{name: "three hundred bad servos", part: 3, beside: func(ctx context.Context, b *besieged) {
			every(ctx, b.evil, 10*time.Millisecond, 10, func(i int) []byte {
				return sealed(fmt.Sprintf("$PLRK,%d,1,%d,%d,100000,1850,4000,9000,0", 1000+i%300, i/300, i/300*300))
			})
		}},
		{name: "forty strangers falling", part: 3, beside: func(ctx context.Context, b *besieged) {
			start := time.Now()
			every(ctx, b.evil, 50*time.Millisecond, 40, func(i int) []byte {
				s := time.Since(start).Seconds()
				pa := 98800 * math.Pow(1-2.25577e-5*fallOf(max(0, s-3.5)), 5.25588) // ISO 2533
				return sealed(fmt.Sprintf("$PLRK,%d,1,%d,%d,%.0f,1850,4000,1000,0", 2000+i%40, i/40, int(s*1000), pa*10))
			})
		}},
		{name: "a second board with a clock of its own", beside: func(ctx context.Context, b *besieged) {
			every(ctx, b.evil, 20*time.Millisecond, 1, func(i int) []byte {
				return sealed(fmt.Sprintf("$PLRK,8,1,%d,%d,988000,1750,4000,1000,0", i, 5000+20*i))
			})
		}},
		{name: "a second board on the same link", beside: func(ctx context.Context, b *besieged) {
			every(ctx, b.pad, 20*time.Millisecond, 1, func(i int) []byte {
				return sealed(fmt.Sprintf("$PLRK,8,1,%d,%d,988000,1750,4000,1000,0", i, 500000+20*i))
			})
		}},
		{name: "clocks by chance under our id", beside: func(ctx context.Context, b *besieged) {
			rng := rand.New(rand.NewPCG(2, 2))
			every(ctx, b.pad, 2*time.Millisecond, 1, func(int) []byte {
				return sealed(fmt.Sprintf("$PLRK,8,%d,%d,%d,%d,1750,4000,1000,0", rng.IntN(256), rng.IntN(65536), rng.Uint32(), rng.IntN(1100000)))
			})
		}},
		{name: "the same numbers 2 ms earlier", between: func(b *besieged, pad io.Writer) io.Writer { return b.forger(pad, b.evil) }},
		{name: "the same numbers 2 ms earlier on the same link", between: func(b *besieged, pad io.Writer) io.Writer { return b.forger(pad, b.pad) }},
		{name: "slow sign-ins and idle connections", part: 6, beside: func(ctx context.Context, b *besieged) { b.slowSockets(ctx, 4200) }},
		{name: "guesses at the passphrase", part: 6, beside: func(ctx context.Context, b *besieged) { b.guess(ctx, 30) }},
		{name: "one cookie and all live streams", beside: func(ctx context.Context, b *besieged) { b.hog(ctx, 200) }},
		{name: "idle bridges and garbage", part: 3, beside: func(ctx context.Context, b *besieged) { b.idleBridges(ctx) }},
	}
}

// forger sends each of the board's messages 2 ms before the board does, with the
// pressure of the first.
func (b *besieged) forger(pad io.Writer, to string) io.Writer {
	conn, err := net.Dial("udp", to)
	if err != nil {
		b.t.Fatal(err)
	}
	b.t.Cleanup(func() { _ = conn.Close() })
	return &forger{pad: pad, evil: unheard{conn}}
}

type forger struct {
	pad, evil io.Writer
	first     string
}

func (f *forger) Write(line []byte) (int, error) {
	body, _, _ := bytes.Cut(line, []byte("*"))
	fields := strings.Split(string(body), ",")
	if len(fields) == 10 {
		if f.first == "" {
			f.first = fields[5]
		}
		fields[5] = f.first
		if _, err := f.evil.Write(sealed(strings.Join(fields, ","))); err != nil {
			return 0, err
		}
		time.Sleep(2 * time.Millisecond) // that is the attack
	}
	return f.pad.Write(line)
}

// slowSockets opens connections that send a byte each eight seconds, or nothing,
// and opens them anew when they are closed.
func (b *besieged) slowSockets(ctx context.Context, n int) {
	var wait sync.WaitGroup
	defer wait.Wait()
	const workers = 40
	for w := range workers {
		wait.Go(func() {
			open := make([]net.Conn, 0, n/workers)
			defer func() {
				for _, c := range open {
					_ = c.Close()
				}
			}()
			for i := 0; ctx.Err() == nil; i++ {
				d := net.Dialer{Timeout: time.Second}
				c, err := d.DialContext(ctx, "tcp", b.web)
				if err != nil {
					pauseFor(ctx, 50*time.Millisecond)
					continue
				}
				switch (i + w) % 3 {
				case 0:
					_, _ = fmt.Fprintf(c, "POST /signin HTTP/1.1\r\nHost: %s\r\nContent-Type: application/x-www-form-urlencoded\r\nContent-Length: 1000\r\n\r\np", b.web)
				case 1:
					_, _ = fmt.Fprintf(c, "GET /healthz HTTP/1.1\r\nHost: %s\r\n\r\n", b.web)
				}
				if open = append(open, c); len(open) == cap(open) {
					_ = open[0].Close()
					open = append(open[:0], open[1:]...)
					pauseFor(ctx, 20*time.Millisecond)
				}
			}
		})
	}
}

// pauseFor is how long an attacker waits before it tries again.
func pauseFor(ctx context.Context, d time.Duration) {
	select {
	case <-time.After(d):
	case <-ctx.Done():
	}
}

// guess tries passphrases, several at a time.
func (b *besieged) guess(ctx context.Context, at int) {
	var wait sync.WaitGroup
	defer wait.Wait()
	for w := range at {
		wait.Go(func() {
			client := &http.Client{Timeout: 10 * time.Second}
			for i := 0; ctx.Err() == nil; i++ {
				body := url.Values{"passphrase": {fmt.Sprintf("guess %d %d", w, i)}}.Encode()
				r, err := http.NewRequestWithContext(ctx, http.MethodPost, "http://"+b.web+"/signin", strings.NewReader(body))
				if err != nil {
					return
				}
				r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
				if res, err := client.Do(r); err == nil {
					_, _ = io.Copy(io.Discard, res.Body)
					_ = res.Body.Close()
				}
			}
		})
	}
}

// hog asks for live streams with the crew's own cookie and reads none of them.
func (b *besieged) hog(ctx context.Context, n int) {
	home, err := url.Parse("http://" + b.web)
	if err != nil {
		return
	}
	cookie := ""
	for _, c := range b.crew.Jar.Cookies(home) {
		cookie = c.Name + "=" + c.Value
	}
	var open []net.Conn
	for range n {
		if c, err := net.Dial("tcp", b.web); err == nil {
			_, _ = fmt.Fprintf(c, "GET /api/v1/live HTTP/1.1\r\nHost: %s\r\nCookie: %s\r\n\r\n", b.web, cookie)
			open = append(open, c)
		}
	}
	<-ctx.Done()
	for _, c := range open {
		_ = c.Close()
	}
}

// idleBridges fills the listening link with connections that say nothing, and
// the datagram links with noise.
func (b *besieged) idleBridges(ctx context.Context) {
	var open []net.Conn
	for range 200 {
		if c, err := net.Dial("tcp", b.bridge); err == nil {
			open = append(open, c)
		}
	}
	rng := rand.New(rand.NewPCG(3, 3))
	every(ctx, b.evil, 5*time.Millisecond, 10, func(int) []byte {
		out := make([]byte, 400)
		for i := range out {
			out[i] = byte(rng.Uint32())
		}
		return out
	})
	for _, c := range open {
		_ = c.Close()
	}
}
