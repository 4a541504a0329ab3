package ingest

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/netip"
	"slices"
	"sync"
	"time"
)

const (
	dialTimeout = 5 * time.Second
	tcpRead     = 4096
	// maxPeers bounds how many may be connected to a listening link at a time, and
	// peersEach how many of them from one address. For one more that which has been
	// silent for longest is dropped, one that never sent anything first: whoever
	// connects and says nothing cannot keep a bridge out.
	maxPeers  = 64
	peersEach = 16
)

// keepAlive finds a peer that vanished without a word (radio bridge without
// power) within half a minute.
var keepAlive = net.KeepAliveConfig{Enable: true, Idle: 10 * time.Second, Interval: 5 * time.Second, Count: 4}

// tcpLink connects to a host; a TNC is one that speaks KISS.
type tcpLink struct {
	runner
	addr  string
	hello string // what the program there wants to be told first
}

// Run implements Link.
func (l *tcpLink) Run(ctx context.Context, out func(Chunk) error) error {
	return l.keep(ctx, out, l.try, nil)
}

func (l *tcpLink) try(ctx context.Context) error {
	d := net.Dialer{Timeout: dialTimeout, KeepAliveConfig: keepAlive}
	conn, err := d.DialContext(ctx, "tcp", l.addr)
	if err != nil {
		return fmt.Errorf("connect to %s: %w; is it switched on, on this network, and is the port right?", l.addr, dialCause(err))
	}
	defer conn.Close() //nolint:errcheck // it was only read from
	defer context.AfterFunc(ctx, func() { _ = conn.Close() })()
	if l.hello != "" {
		if _, err := conn.Write([]byte(l.hello)); err != nil {
			return fmt.Errorf("write to %s: %w", l.addr, dialCause(err))
		}
	}
	l.up("connected to " + l.addr)
	return readTCP(ctx, conn, l.env.Clock, "", l.send)
}

// dialCause is the reason alone: the rest of the library's text holds port
// numbers of ours that differ at each try.
func dialCause(err error) error {
	var op *net.OpError
	if errors.As(err, &op) && op.Err != nil {
		return op.Err
	}
	return err
}

// readTCP passes on what a connection brings until it ends.
func readTCP(ctx context.Context, conn net.Conn, clock Clock, peer string, send func(Chunk) error) error {
	buf := make([]byte, tcpRead)
	for {
		n, err := conn.Read(buf)
		heard := clock.Now()
		if n > 0 {
			if err := send(Chunk{Heard: heard, Bytes: buf[:n], Peer: peer}); err != nil {
				return err
			}
		}
		switch {
		case ctx.Err() != nil:
			return nil
		case errors.Is(err, io.EOF):
			return fmt.Errorf("%s closed the connection", conn.RemoteAddr())
		case err != nil:
			return fmt.Errorf("read from %s: %w", conn.RemoteAddr(), dialCause(err))
		}
	}
}

// tcpListenLink lets boards and bridges connect to it, several at a time. Each
// is a stream of its own.
type tcpListenLink struct {
	runner
	addr string
	from senders
	what string // that it listens on, in words
	// serve hears a connection until it ends; nil hears the bare bytes.
	serve     func(ctx context.Context, conn net.Conn, take func(Chunk) error) error
	listening string // the words of the present try
}

// Run implements Link.
func (l *tcpListenLink) Run(ctx context.Context, out func(Chunk) error) error {
	return l.keep(ctx, out, l.try, nil)
}

// peers are the connections of one try.
type peers struct {
	link   *tcpListenLink
	words  string
	cancel context.CancelFunc
	wait   sync.WaitGroup

	mu      sync.Mutex // also makes the calls of send take turns
	open    []*peer
	dropped int
	fatal   error
}

// peer is one connection.
type peer struct {
	conn  net.Conn
	host  string
	name  string        // host and port
	heard time.Duration // when it sent something last, or came
	spoke bool
}

func (l *tcpListenLink) try(parent context.Context) error {
	var lc net.ListenConfig
	lc.KeepAliveConfig = keepAlive
	ln, err := lc.Listen(parent, "tcp", l.addr)
	if err != nil {
		return fmt.Errorf("listen on TCP %s: %w; is the port taken by another program, or the address not of this computer?", l.addr, dialCause(err))
	}
	ctx, cancel := context.WithCancel(parent)
	l.listening = "listening on " + l.what + ln.Addr().String()
	p := &peers{link: l, words: l.listening, cancel: cancel}
	stop := context.AfterFunc(ctx, func() { _ = ln.Close() })
	defer func() {
		cancel()
		p.wait.Wait()
		stop()
		_ = ln.Close()
	}()
	l.up(p.words)
	for {
		conn, err := ln.Accept()
		if err != nil {
			p.mu.Lock()
			defer p.mu.Unlock()
			switch {
			case parent.Err() != nil:
				return nil
			case p.fatal != nil:
				return p.fatal
			}
			return fmt.Errorf("accept on TCP %s: %w", l.addr, dialCause(err))
		}
		if at, err := netip.ParseAddrPort(conn.RemoteAddr().String()); err == nil && !l.from.allow(at.Addr()) {
			l.rep.stats.addApart(reasonSender, nil, l.env.Clock.Now())
			_ = conn.Close()
			continue
		}
		p.admit(ctx, conn)
	}
}

// admit starts a goroutine for a new connection; try waits for it.
func (p *peers) admit(ctx context.Context, conn net.Conn) {
	one := &peer{conn: conn, name: conn.RemoteAddr().String(), heard: p.link.env.Clock.Now()}
	one.host, _, _ = net.SplitHostPort(one.name) // it has a port
	if ip := net.ParseIP(one.host); ip != nil && ip.IsLoopback() {
		one.host = "" // programs of this computer may hold all of them
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.makeRoom(one.host)
	p.open = append(p.open, one)
	p.tell()
	p.wait.Go(func() {
		stop := context.AfterFunc(ctx, func() { _ = conn.Close() })
		serve := p.link.serve
		if serve == nil {
			serve = func(ctx context.Context, conn net.Conn, take func(Chunk) error) error {
				return readTCP(ctx, conn, p.link.env.Clock, one.name, take)
			}
		}
		// Why it ended does not matter: the peer may come again, or not. That
		// the frames are refused is kept in p.fatal.
		_ = serve(ctx, conn, func(c Chunk) error { c.Peer = one.name; return p.take(one, c) })
		stop()
		_ = conn.Close()
		p.leave(ctx, one)
	})
}

// makeRoom drops who has been silent for longest, if one more from an address
// would be too many. The connection's own goroutine sees to the rest.
func (p *peers) makeRoom(host string) {
	ofHost := 0
	for _, x := range p.open {
		if x.host == host {
			ofHost++
		}
	}
	tooMany := host != "" && ofHost >= peersEach
	if len(p.open) < maxPeers && !tooMany {
		return
	}
	var goes *peer
	for _, x := range p.open {
		switch {
		case tooMany && x.host != host:
		case goes == nil, !x.spoke && goes.spoke, x.spoke == goes.spoke && x.heard < goes.heard:
			goes = x
		}
	}
	p.dropped++
	p.open = slices.DeleteFunc(p.open, func(x *peer) bool { return x == goes })
	_ = goes.conn.Close()
}

// take passes on what a peer sends.
func (p *peers) take(from *peer, c Chunk) error {
	p.mu.Lock()
	from.heard, from.spoke = c.Heard, true
	p.mu.Unlock()
	return p.send(c)
}

// send passes a chunk on, one connection at a time.
func (p *peers) send(c Chunk) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.fatal != nil {
		return p.fatal
	}
	if err := p.link.send(c); err != nil {
		p.fatal = err
		p.cancel()
		return err
	}
	return nil
}

// leave ends a peer's stream. A peer that goes in good order (it closed, or
// was closed) may still have sent half a message: it is cut off.
func (p *peers) leave(ctx context.Context, one *peer) {
	if ctx.Err() == nil {
		// An error is kept in p.fatal, where try finds it.
		_ = p.send(Chunk{Heard: p.link.env.Clock.Now(), Peer: one.name, End: EndCut})
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.open = slices.DeleteFunc(p.open, func(x *peer) bool { return x == one })
	p.tell()
}

// tell puts the number of peers into the state's words.
func (p *peers) tell() {
	words := fmt.Sprintf("%s, %d connected", p.words, len(p.open))
	if p.dropped > 0 {
		words += fmt.Sprintf(", dropped %d that were silent: %d is the most, %d from one address", p.dropped, maxPeers, peersEach)
	}
	p.link.rep.words(StateUp, words)
}
