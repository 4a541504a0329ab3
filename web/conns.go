package web

import (
	"context"
	"crypto/tls"
	"net"
	"net/http"
	"net/netip"
	"sync"
	"time"
)

// Bounds of the connections. What this computer's own programs and people who
// have signed in may hold is held by nobody else. A stranger beyond the bounds
// takes the place of another one, of the address that holds most: so somebody
// who comes to sign in is let in, however many sit there.
const (
	connsLoopback = 256
	connsKnown    = 160 // of addresses from which somebody has signed in
	connsStranger = 96
	connsEach     = 32 // of one address; of this computer's own, connsLoopback
	connsStrange  = 12 // of one address from which nobody has signed in
)

// connKind is whose a connection is.
type connKind int

const (
	ofLoopback connKind = iota
	ofKnown
	ofStranger
)

// connTable counts and bounds the connections of a listener. It is safe for
// concurrent use.
type connTable struct {
	known func(addr string) bool

	mu      sync.Mutex
	conns   map[*boundConn]struct{}
	dropped uint64 // closed to make room, or not let in
}

// boundConn is one of them.
type boundConn struct {
	net.Conn
	table *connTable
	addr  string
	kind  connKind
	since time.Time
	idle  bool
	// useful: a request of somebody who may look has come on it, and whole.
	useful bool
	once   sync.Once
}

func newConnTable(known func(addr string) bool) *connTable {
	return &connTable{known: known, conns: map[*boundConn]struct{}{}}
}

// boundListener lets in what its table has room for.
type boundListener struct {
	net.Listener
	table *connTable
}

// Accept waits for a connection that there is room for.
func (l boundListener) Accept() (net.Conn, error) {
	for {
		c, err := l.Listener.Accept()
		if err != nil {
			return nil, err
		}
		if b := l.table.admit(c); b != nil {
			return b, nil
		}
		_ = c.Close()
	}
}

// admit takes a connection into the table, nil if there is no room for it.
func (t *connTable) admit(c net.Conn) *boundConn {
	addr := addressOf(c.RemoteAddr().String())
	b := &boundConn{Conn: c, table: t, addr: addr, since: time.Now(), kind: ofStranger}
	if ip, err := netip.ParseAddr(addr); err == nil && ip.IsLoopback() {
		b.kind = ofLoopback
	} else if t.known(addr) {
		b.kind = ofKnown
	}
	t.mu.Lock()
	var goes *boundConn
	each, all := map[string]int{}, 0
	for x := range t.conns {
		if x.kind == b.kind {
			each[x.addr]++
			all++
		}
	}
	most, ofOne := connBounds(b.kind)
	switch {
	case each[addr] >= ofOne:
		goes = t.spare(b.kind, func(x *boundConn) bool { return x.addr == addr })
	case all >= most:
		busiest := 0
		for _, n := range each {
			busiest = max(busiest, n)
		}
		goes = t.spare(b.kind, func(x *boundConn) bool { return each[x.addr] == busiest })
	}
	if goes != nil {
		delete(t.conns, goes)
		t.dropped++
	}
	t.conns[b] = struct{}{}
	t.mu.Unlock()
	if goes != nil {
		_ = goes.Conn.Close() // outside the lock: it may take a moment
	}
	return b
}

func connBounds(kind connKind) (all, ofOne int) {
	switch kind {
	case ofLoopback:
		return connsLoopback, connsLoopback
	case ofKnown:
		return connsKnown, connsEach
	}
	return connsStranger, connsStrange
}

// spare picks the connection that can best be closed: one on which nothing of use
// has come yet, then one that waits for a request, then the oldest.
func (t *connTable) spare(kind connKind, among func(*boundConn) bool) *boundConn {
	var best *boundConn
	for x := range t.conns {
		if x.kind != kind || !among(x) {
			continue
		}
		if best == nil || x.spared() < best.spared() || x.spared() == best.spared() && x.since.Before(best.since) {
			best = x
		}
	}
	return best
}

// spared orders connections: the lowest goes first.
func (b *boundConn) spared() int {
	n := 0
	if b.useful {
		n += 2
	}
	if !b.idle {
		n++
	}
	return n
}

// connKey finds a request's connection in its context.
type connKey struct{}

// used notes that a connection serves somebody who may look.
func (t *connTable) used(ctx context.Context) {
	if b, ok := ctx.Value(connKey{}).(*boundConn); ok {
		t.mu.Lock()
		b.useful = true
		t.mu.Unlock()
	}
}

// state follows what the HTTP server says of a connection.
func (t *connTable) state(c net.Conn, s http.ConnState) {
	if secure, ok := c.(*tls.Conn); ok {
		c = secure.NetConn()
	}
	if b, ok := c.(*boundConn); ok {
		t.mu.Lock()
		b.idle = s == http.StateIdle || s == http.StateNew
		t.mu.Unlock()
	}
}

// count is how many there are, and how many were closed for want of room.
func (t *connTable) count() (open int, dropped uint64) {
	t.mu.Lock()
	defer t.mu.Unlock()
	return len(t.conns), t.dropped
}

// Close ends the connection and gives its place free.
func (b *boundConn) Close() error {
	b.once.Do(func() {
		b.table.mu.Lock()
		delete(b.table.conns, b)
		b.table.mu.Unlock()
	})
	return b.Conn.Close()
}
