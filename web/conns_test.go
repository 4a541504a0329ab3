package web

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"
)

// fakeConn is a connection from an address.
type fakeConn struct {
	net.Conn
	from   string
	closed bool
}

func (c *fakeConn) RemoteAddr() net.Addr {
	a, err := net.ResolveTCPAddr("tcp", c.from)
	if err != nil {
		panic(err)
	}
	return a
}

func (c *fakeConn) Close() error { c.closed = true; return nil }

// Whoever floods holds no more than a stranger may, and neither this computer's
// own connections nor those of people who have signed in give way for it.
func TestConnectionsAreShared(t *testing.T) {
	table := newConnTable(func(addr string) bool { return addr == "10.0.0.2" })
	var ours []*fakeConn
	for i := range 20 {
		for _, from := range []string{"127.0.0.1", "10.0.0.2"} {
			c := &fakeConn{from: fmt.Sprintf("%s:%d", from, 1000+i)}
			if table.admit(c) == nil {
				t.Fatal("not let in")
			}
			ours = append(ours, c)
		}
	}
	// A hundred addresses with many connections each, then one with a single one.
	for i := range 4000 {
		table.admit(&fakeConn{from: fmt.Sprintf("10.0.1.%d:%d", i%100, i)})
	}
	newcomer := &fakeConn{from: "10.0.9.9:1"}
	table.admit(newcomer)
	for i := range 50 {
		table.admit(&fakeConn{from: fmt.Sprintf("10.0.1.%d:%d", i%3, i)})
	}
	if newcomer.closed {
		t.Error("somebody who has just come gave way to a flood")
	}
	for _, c := range ours {
		if c.closed {
			t.Fatalf("%s gave way", c.from)
		}
	}
	if n, dropped := table.count(); n > 40+connsStranger || dropped < 3000 {
		t.Errorf("%d are open and %d were closed", n, dropped)
	}
	// One address alone, of people who have signed in.
	for i := range 500 {
		table.admit(&fakeConn{from: fmt.Sprintf("10.0.0.2:%d", 5000+i)})
	}
	if n, _ := table.count(); n > 20+connsEach+connsStranger {
		t.Errorf("%d are open", n)
	}
}

// serveReal runs a server with a passphrase on a real port.
func serveReal(t *testing.T) (s *Server, addr string) {
	t.Helper()
	opt := newInvented().options()
	opt.Access = Access{CrewHash: cheapHash(t, "pad is clear")}
	s, err := New(opt)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	g, gctx := errgroup.WithContext(ctx)
	g.Go(func() error { return s.Run(gctx) })
	t.Cleanup(func() {
		cancel()
		if err := g.Wait(); err != nil {
			t.Error(err)
		}
	})
	a, err := s.Addr(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return s, a.String()
}

// Thousands of requests that come a byte at a time, and as many that ask for
// nothing, from this very computer: a page that follows goes on, a new one is
// served, and the station holds a bounded number of sockets.
func TestSlowConnectionsHoldNobodyUp(t *testing.T) {
	s, addr := serveReal(t)
	cookie, _ := signInAs(t, "http://"+addr, "pad is clear")
	page, err := net.Dial("tcp", addr)
	if err != nil {
		t.Fatal(err)
	}
	defer page.Close() //nolint:errcheck // only read from
	fmt.Fprintf(page, "GET /api/v1/live?hz=20 HTTP/1.1\r\nHost: %s\r\nCookie: %s\r\n\r\n", addr, cookie)
	beats := bufio.NewScanner(page)
	beats.Buffer(nil, 1<<20)
	next := func() {
		t.Helper()
		_ = page.SetReadDeadline(time.Now().Add(3 * time.Second))
		for beats.Scan() {
			if strings.HasPrefix(beats.Text(), "event: update") {
				return
			}
		}
		t.Fatalf("the page hears nothing: %v", beats.Err())
	}
	next()
	const flood = 1000
	var mine []net.Conn
	defer func() {
		for _, c := range mine {
			_ = c.Close()
		}
	}()
	for i := range flood {
		c, err := net.Dial("tcp", addr)
		if err != nil {
			t.Fatal(err)
		}
		mine = append(mine, c)
		if i%2 == 0 {
			_, _ = fmt.Fprintf(c, "POST /signin HTTP/1.1\r\nHost: %s\r\nContent-Type: application/x-www-form-urlencoded\r\nContent-Length: 900\r\n\r\np", addr)
		}
		if i%100 == 0 {
			next()
		}
	}
	begin := time.Now()
	client := &http.Client{Timeout: 5 * time.Second, Transport: &http.Transport{DisableKeepAlives: true}}
	res, err := client.Get("http://" + addr + "/healthz")
	if err != nil {
		t.Fatalf("nobody is served beside the flood: %v", err)
	}
	_ = res.Body.Close()
	if took := time.Since(begin); res.StatusCode != 200 || took > 2*time.Second {
		t.Errorf("status %d after %v", res.StatusCode, took)
	}
	next()
	if n, dropped := s.conns.count(); n > connsLoopback || dropped < flood-2*connsLoopback {
		t.Errorf("%d connections are open, %d were closed", n, dropped)
	}
}

// One hash at a time, and the crew's before the guesses.
func TestTurns(t *testing.T) {
	q := turns{most: 4}
	if err := q.take(t.Context(), 5); err != nil {
		t.Fatal(err)
	}
	var mu sync.Mutex
	var order []int
	var wait sync.WaitGroup
	for i, rank := range []int{3, 3, 1, 2, 9, 0} {
		wait.Go(func() {
			err := q.take(t.Context(), rank)
			mu.Lock()
			defer mu.Unlock()
			if err != nil {
				if !errors.Is(err, errCrowded) {
					t.Error(err)
				}
				order = append(order, -rank)
				return
			}
			order = append(order, rank)
			q.give()
		})
		// In the order of the list: once it waits, or somebody was sent away.
		for {
			q.mu.Lock()
			n := len(q.waiting)
			q.mu.Unlock()
			mu.Lock()
			away := len(order)
			mu.Unlock()
			if n == min(i+1, 4) && away == max(0, i-3) {
				break
			}
			time.Sleep(time.Millisecond)
		}
	}
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	if err := q.take(gone, 9); !errors.Is(err, context.Canceled) && !errors.Is(err, errCrowded) {
		t.Errorf("somebody who has gone: %v", err)
	}
	q.give()
	wait.Wait()
	var served []int
	sent := 0
	for _, r := range order {
		if r < 0 {
			sent++
		} else {
			served = append(served, r)
		}
	}
	if fmt.Sprint(served) != "[0 1 2 3]" || sent != 2 {
		t.Errorf("served in the order %v, %d sent away", served, sent)
	}
	if err := q.take(t.Context(), 1); err != nil || !q.busy {
		t.Errorf("after all that: %v", err)
	}
}

// No sign-in takes all streams, and the crew always finds one.
func TestStreamsAreShared(t *testing.T) {
	s := newShares(maxViewers, viewersForCrew, viewersEach, maxViewers/2)
	n := 0
	for i := range 500 {
		if _, err := s.enter("sign-in one", viewer, "10.0.0.1"); err == nil {
			n++
		}
		if _, err := s.enter(fmt.Sprintf("sign-in %d", i), viewer, "10.0.0.2"); err == nil {
			n++
		}
	}
	if n != 2*viewersEach {
		t.Errorf("two addresses hold %d streams, want %d each", n, viewersEach)
	}
	for i := range 500 {
		if _, err := s.enter(fmt.Sprintf("sign-in of %d", i), viewer, fmt.Sprintf("10.1.%d.1", i)); err == nil {
			n++
		}
	}
	if n != maxViewers-viewersForCrew {
		t.Errorf("viewers hold %d streams", n)
	}
	leave, err := s.enter("sign-in crew", crew, "10.0.0.1")
	if err != nil {
		t.Fatalf("the crew finds none: %v", err)
	}
	if _, err := s.enter("address 127.0.0.1", viewer, "127.0.0.1"); err != nil {
		t.Errorf("this computer's own screen finds none: %v", err)
	}
	before := s.count()
	leave()
	if s.count() != before-1 {
		t.Error("a stream was not given back")
	}
}
