package ingest

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
)

// udpBytes is the size of the buffer asked of the system: a second of many
// boards, should the station be held up for that long.
const udpBytes = 1 << 20

// udpLink listens for datagrams, on an address or in a multicast group.
type udpLink struct {
	runner
	addr   string
	iface  string
	stream bool
	from   senders
}

// Run implements Link.
func (l *udpLink) Run(ctx context.Context, out func(Chunk) error) error {
	return l.keep(ctx, out, l.try, nil)
}

// multicastGroup is the group in an address, if it is one.
func multicastGroup(addr string) (netip.AddrPort, bool) {
	ap, err := netip.ParseAddrPort(addr)
	return ap, err == nil && ap.Addr().IsMulticast()
}

func (l *udpLink) listen() (*net.UDPConn, error) {
	group, multicast := multicastGroup(l.addr)
	if !multicast {
		addr, err := net.ResolveUDPAddr("udp", l.addr)
		if err != nil {
			return nil, fmt.Errorf("listen on UDP %s: %w", l.addr, err)
		}
		conn, err := net.ListenUDP("udp", addr)
		if err != nil {
			return nil, fmt.Errorf("listen on UDP %s: %w; is the port taken by another program, or the address not of this computer?", l.addr, err)
		}
		return conn, nil
	}
	var iface *net.Interface
	if l.iface != "" {
		var err error
		if iface, err = net.InterfaceByName(l.iface); err != nil {
			return nil, fmt.Errorf("find network interface %q: %w; \"ip link\" lists them", l.iface, err)
		}
	}
	conn, err := net.ListenMulticastUDP("udp", iface, net.UDPAddrFromAddrPort(group))
	if err != nil {
		return nil, fmt.Errorf("join multicast group %s: %w; is there a network, and does iface name it?", l.addr, err)
	}
	return conn, nil
}

func (l *udpLink) try(ctx context.Context) error {
	conn, err := l.listen()
	if err != nil {
		return err
	}
	defer conn.Close() //nolint:errcheck // it was only read from
	// A smaller buffer than asked for still works.
	_ = conn.SetReadBuffer(udpBytes)
	// Closing is what interrupts a read that waits.
	defer context.AfterFunc(ctx, func() { _ = conn.Close() })()
	l.up("listening on UDP " + conn.LocalAddr().String())
	buf := make([]byte, 65536)
	var last netip.AddrPort
	peer := ""
	for {
		n, from, err := conn.ReadFromUDPAddrPort(buf)
		heard := l.env.Clock.Now()
		if ctx.Err() != nil {
			return nil
		}
		if errors.Is(err, net.ErrClosed) || err != nil && n == 0 {
			return fmt.Errorf("read UDP %s: %w", l.addr, err)
		}
		if !l.from.allow(from.Addr()) {
			l.rep.stats.addApart(reasonSender, buf[:n], heard)
			continue
		}
		if from != last {
			last, peer = from, netip.AddrPortFrom(from.Addr().Unmap(), from.Port()).String()
		}
		c := Chunk{Heard: heard, Bytes: buf[:n], Peer: peer, Datagram: !l.stream}
		if c.Datagram {
			c.End = EndWhole
		}
		if err := l.send(c); err != nil {
			return err
		}
	}
}
