package ingest

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"golang.org/x/net/ipv4"
)

func contains(s, part string) bool { return strings.Contains(s, part) }

func diffStrings(t *testing.T, want, got []string) {
	t.Helper()
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

// address is where a link says that it listens.
func (r *running) address(prefix string) string {
	r.t.Helper()
	select {
	case s := <-r.states:
		at, found := strings.CutPrefix(s.Words, prefix)
		if s.State != StateUp || !found {
			r.t.Fatalf("state %q (%s), want up (%s…)", s.State, s.Words, prefix)
		}
		return at
	case <-time.After(patience):
		r.t.Fatal("the link does not listen")
	}
	panic("not reached")
}

func dial(t *testing.T, network, addr string) net.Conn {
	t.Helper()
	c, err := net.Dial(network, addr)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = c.Close() })
	return c
}

func send(t *testing.T, c net.Conn, s string) {
	t.Helper()
	if _, err := c.Write([]byte(s)); err != nil {
		t.Fatal(err)
	}
}

func TestUDP(t *testing.T) {
	r := start(t, LinkConfig{Name: "wifi", UDP: "127.0.0.1:0"}, lines, Env{})
	addr := r.address("listening on UDP ")
	a, b := dial(t, "udp", addr), dial(t, "udp", addr)
	// Each datagram holds whole lines, the last of which may lack its end, so
	// two senders do not get into each other's way.
	send(t, a, "one\ntwo")
	r.frame("one")
	r.frame("two")
	send(t, b, "three\n")
	if f := r.frame("three"); f.N != 3 || f.Baud != 0 {
		t.Errorf("frame %+v", f)
	}
	send(t, a, "")
	send(t, a, "four")
	r.frame("four")
	r.stop()
}

func TestUDPStream(t *testing.T) {
	r := start(t, LinkConfig{Name: "bridge", UDP: "127.0.0.1:0", UDPStream: true}, lines, Env{})
	addr := r.address("listening on UDP ")
	a, b := dial(t, "udp", addr), dial(t, "udp", addr)
	send(t, a, "on")
	r.waitBytes(2)
	send(t, b, "tw")
	r.waitBytes(4)
	send(t, a, "e\n")
	r.frame("one")
	send(t, b, "o\n")
	r.frame("two")
	r.stop()
}

func TestUDPTaken(t *testing.T) {
	taken, err := net.ListenPacket("udp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	addr := taken.LocalAddr().String()
	r := start(t, LinkConfig{Name: "wifi", UDP: addr}, Framing{Kind: FramingDatagram}, Env{})
	r.state(StateWaiting, "is the port taken by another program")
	if err := taken.Close(); err != nil {
		t.Fatal(err)
	}
	r.state(StateUp, "listening on UDP "+addr)
	send(t, dial(t, "udp", addr), "one")
	r.frame("one")
	r.stop()
}

// loopback is the name of the loopback interface.
func loopback(t *testing.T) *net.Interface {
	t.Helper()
	list, err := net.Interfaces()
	if err != nil {
		t.Fatal(err)
	}
	for _, i := range list {
		if i.Flags&net.FlagLoopback != 0 {
			return &i
		}
	}
	t.Skip("no loopback interface")
	return nil
}

func TestMulticast(t *testing.T) {
	lo := loopback(t)
	// A free port, and a group of the block for local use (RFC 2365).
	probe, err := net.ListenPacket("udp4", "0.0.0.0:0")
	if err != nil {
		t.Fatal(err)
	}
	port := probe.LocalAddr().(*net.UDPAddr).Port
	if err := probe.Close(); err != nil {
		t.Fatal(err)
	}
	group := &net.UDPAddr{IP: net.IPv4(239, 77, 1, 2), Port: port}
	conn, err := net.ListenPacket("udp4", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close() //nolint:errcheck // the test is over
	p := ipv4.NewPacketConn(conn)
	if err := errors.Join(p.SetMulticastInterface(lo), p.SetMulticastLoopback(true)); err != nil {
		t.Skipf("the loopback interface takes no multicast: %v", err)
	}
	r := start(t, LinkConfig{Name: "wifi", UDP: group.String(), Iface: lo.Name}, Framing{Kind: FramingDatagram}, Env{})
	r.state(StateUp, "listening on UDP")
	if _, err := conn.WriteTo([]byte("one"), group); err != nil {
		if os.Getenv("PADLARK_CI") == "1" {
			t.Fatal(err)
		}
		t.Skipf("the loopback interface takes no multicast: %v", err)
	}
	r.frame("one")
	r.stop()
}

func TestMulticastNoInterface(t *testing.T) {
	r := start(t, LinkConfig{Name: "wifi", UDP: "239.77.1.2:9750", Iface: "none0"}, Framing{Kind: FramingDatagram}, Env{})
	r.state(StateWaiting, `find network interface "none0"`)
	r.stop()
}

func TestTCPDial(t *testing.T) {
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	addr := ln.Addr().String()
	r := start(t, LinkConfig{Name: "bridge", TCP: addr}, Framing{Kind: FramingCOBS}, Env{})
	r.state(StateUp, "connected to "+addr)
	peer, err := ln.Accept()
	if err != nil {
		t.Fatal(err)
	}
	send(t, peer, string(EncodeCOBS(nil, []byte("one"))))
	r.frame("one")
	send(t, peer, "\x05cut")
	r.waitBytes(9)
	// The bridge is switched off, and on again.
	if err := errors.Join(ln.Close(), peer.Close()); err != nil {
		t.Fatal(err)
	}
	r.state(StateWaiting, "closed the connection")
	r.words("is it switched on, on this network, and is the port right?")
	if ln, err = net.Listen("tcp", addr); err != nil {
		t.Fatal(err)
	}
	defer ln.Close() //nolint:errcheck // the test is over
	r.state(StateUp, "connected")
	if peer, err = ln.Accept(); err != nil {
		t.Fatal(err)
	}
	send(t, peer, string(EncodeCOBS(nil, []byte("two"))))
	r.frame("two")
	if h := r.Health(); h.Restarts != 1 || h.Bad[reasonCut] != 1 {
		t.Errorf("health %+v", h)
	}
	r.stop()
}

func TestTNC(t *testing.T) {
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer ln.Close() //nolint:errcheck // the test is over
	r := start(t, LinkConfig{Name: "aprs", TNC: ln.Addr().String()}, Framing{Kind: FramingKISS, Port: ptr(0)}, Env{})
	peer, err := ln.Accept()
	if err != nil {
		t.Fatal(err)
	}
	wire := EncodeKISS(kissTxDelay, 3, 0, []byte("other"))
	send(t, peer, string(EncodeKISS(wire, 0, 0, []byte("TEST\xC0"))))
	r.frame("TEST\xC0")
	if h := r.Health(); h.Bad[reasonNotData] != 1 || h.Bad[reasonOtherPort] != 1 {
		t.Errorf("bad %v", h.Bad)
	}
	r.stop()
}

func TestTCPListen(t *testing.T) {
	r := start(t, LinkConfig{Name: "boards", TCPListen: "127.0.0.1:0"}, lines, Env{})
	addr := r.address("listening on TCP ")
	a, b := dial(t, "tcp", addr), dial(t, "tcp", addr)
	send(t, a, "on")
	send(t, b, "tw")
	r.waitBytes(4)
	r.words("2 connected")
	send(t, b, "o\n")
	r.frame("two")
	send(t, a, "e\nhalf")
	r.frame("one")
	r.waitBytes(12)
	// A peer that leaves takes nothing with it but its half line.
	if err := a.Close(); err != nil {
		t.Fatal(err)
	}
	r.words("1 connected")
	send(t, b, "three\n")
	r.frame("three")
	if h := r.Health(); h.Bad[reasonCut] != 1 || h.State != StateUp || h.Restarts != 0 {
		t.Errorf("health %+v", h)
	}
	r.stop()
}

func TestTCPListenManyPeers(t *testing.T) {
	r := start(t, LinkConfig{Name: "boards", TCPListen: "127.0.0.1:0"}, lines, Env{})
	addr := r.address("listening on TCP ")
	var conns []net.Conn
	for range maxPeers {
		conns = append(conns, dial(t, "tcp", addr))
	}
	r.words(fmt.Sprintf("%d connected", maxPeers))
	// All of these are silent. A bridge that comes now is let in, and the one that
	// has said nothing for longest goes.
	bridge := dial(t, "tcp", addr)
	if _, err := conns[0].Read(make([]byte, 1)); err == nil {
		t.Error("the oldest silent peer was kept")
	}
	r.words("dropped 1 that were silent: 64 is the most")
	send(t, bridge, "bridge\n")
	r.frame("bridge")
	// However many come and say nothing, the bridge is not dropped.
	for range maxPeers + 10 {
		conns = append(conns[1:], dial(t, "tcp", addr))
	}
	r.words(fmt.Sprintf("dropped %d that were silent", maxPeers+11))
	send(t, bridge, "still here\n")
	r.frame("still here")
	conns = append(conns[len(conns)-maxPeers+1:], bridge)
	const each = 20
	for i, c := range conns {
		go func() {
			for n := range each {
				_, _ = fmt.Fprintf(c, "%d %d\n", i, n)
			}
		}()
	}
	next := map[string]int{}
	for range maxPeers * each {
		select {
		case f := <-r.frames:
			who, n, _ := strings.Cut(string(f.Bytes), " ")
			if n != fmt.Sprint(next[who]) {
				t.Fatalf("peer %s sent %s, want %d", who, n, next[who])
			}
			next[who]++
		case <-time.After(patience):
			t.Fatalf("frames are missing: %v", next)
		}
	}
	r.stop()
}

// An error from the callback ends the link, whatever its kind.
func TestCallbackError(t *testing.T) {
	refused := errors.New("the bus is gone")
	for _, cfg := range []LinkConfig{
		{Name: "a", UDP: "127.0.0.1:0"},
		{Name: "b", TCPListen: "127.0.0.1:0"},
	} {
		t.Run(cfg.Kind(), func(t *testing.T) {
			addr := make(chan string, 1)
			env := Env{Clock: StartClock(), OnState: func(_ string, s LinkState) {
				if s.State == StateUp {
					addr <- s.Words[strings.LastIndex(s.Words, " ")+1:]
				}
			}}
			r, err := NewReceiver(cfg, lines, env)
			if err != nil {
				t.Fatal(err)
			}
			done := make(chan error, 1)
			go func() { done <- r.Run(context.Background(), func(Frame) error { return refused }) }()
			network := "udp"
			if cfg.TCPListen != "" {
				network = "tcp"
			}
			send(t, dial(t, network, <-addr), "one\n")
			select {
			case err := <-done:
				if !errors.Is(err, refused) {
					t.Errorf("got %v", err)
				}
			case <-time.After(patience):
				t.Fatal("the link goes on")
			}
		})
	}
}
