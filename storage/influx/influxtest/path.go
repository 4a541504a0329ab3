package influxtest

import (
	"net"
	"net/url"
	"sync"
	"testing"
)

// Path is a TCP path to a server that can be cut and mended.
type Path struct {
	// URL reaches the server by this path.
	URL string

	t      testing.TB
	target string
	l      net.Listener
	wait   sync.WaitGroup

	mu    sync.Mutex
	cut   bool
	after int64 // bytes to the server after which the path is cut; 0 for never
	conns map[net.Conn]struct{}
}

// NewPath opens a path to the server at an address.
func NewPath(t testing.TB, to string) *Path {
	t.Helper()
	u, err := url.Parse(to)
	if err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	p := &Path{URL: "http://" + l.Addr().String(), t: t, target: u.Host, l: l, conns: map[net.Conn]struct{}{}}
	p.wait.Add(1)
	go p.accept()
	t.Cleanup(func() {
		l.Close()
		p.Cut()
		p.wait.Wait()
	})
	return p
}

func (p *Path) accept() {
	defer p.wait.Done()
	for {
		near, err := p.l.Accept()
		if err != nil {
			return // closed at the end of the test
		}
		if !p.keep(near) {
			near.Close()
			continue
		}
		far, err := net.Dial("tcp", p.target)
		if err != nil || !p.keep(far) {
			near.Close()
			continue
		}
		p.wait.Add(2)
		go p.carry(far, near, true)
		go p.carry(near, far, false)
	}
}

// keep notes a connection; false if the path is cut.
func (p *Path) keep(c net.Conn) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.cut {
		return false
	}
	p.conns[c] = struct{}{}
	return true
}

// carry copies one way until either end is closed.
func (p *Path) carry(to, from net.Conn, up bool) {
	defer p.wait.Done()
	buf := make([]byte, 4096)
	for {
		n, err := from.Read(buf)
		if n > 0 && !(up && p.used(int64(n))) {
			if _, werr := to.Write(buf[:n]); werr != nil {
				err = werr
			}
		}
		if err != nil {
			// Whatever it was, this connection is over.
			to.Close()
			from.Close()
			return
		}
	}
}

// used counts what goes to the server and cuts the path when it is time.
func (p *Path) used(n int64) (cut bool) {
	p.mu.Lock()
	if p.after == 0 {
		p.mu.Unlock()
		return false
	}
	p.after -= n
	over := p.after <= 0
	if over {
		p.after = 0
	}
	p.mu.Unlock()
	if over {
		p.Cut()
	}
	return over
}

// CutAfter cuts the path in the middle of what is sent: after so many bytes to
// the server.
func (p *Path) CutAfter(bytes int64) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.after = bytes
}

// Cut breaks every connection and refuses new ones.
func (p *Path) Cut() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.cut = true
	for c := range p.conns {
		c.Close()
		delete(p.conns, c)
	}
}

// IsCut says whether the path is cut.
func (p *Path) IsCut() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.cut
}

// Mend lets connections through again.
func (p *Path) Mend() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.cut = false
}
