package ingest

import (
	"net"
	"net/netip"
	"strings"
	"testing"
)

func TestParseSenders(t *testing.T) {
	for _, c := range []struct {
		list []string
		addr string
		want bool
	}{
		{nil, "192.168.4.9", true},
		{[]string{"192.168.4.1"}, "192.168.4.1", true},
		{[]string{"192.168.4.1"}, "192.168.4.2", false},
		{[]string{"192.168.4.77/24"}, "192.168.4.2", true},
		{[]string{"192.168.4.0/24", "10.0.0.1"}, "::ffff:10.0.0.1", true},
		{[]string{"fe80::/10"}, "fe80::1%eth0", true},
		{[]string{"fe80::1"}, "fe80::2", false},
	} {
		s, err := parseSenders(c.list)
		if err != nil {
			t.Fatal(err)
		}
		if got := s.allow(netip.MustParseAddr(c.addr)); got != c.want {
			t.Errorf("%v takes from %s: %v", c.list, c.addr, got)
		}
	}
	for _, bad := range []string{"pad-bridge", "10.0.0.0/33", "10.0.0", ""} {
		err := LinkConfig{Name: "a", UDP: ":1", Senders: []string{bad}}.Validate()
		if err == nil || !strings.Contains(err.Error(), "senders") {
			t.Errorf("%q: %v", bad, err)
		}
	}
	if err := (LinkConfig{Name: "a", TCP: "h:1", Senders: []string{"10.0.0.1"}}).Validate(); err == nil {
		t.Error("a link that connects by itself may name senders")
	}
}

// A link that names its senders takes from nobody else, and counts what came.
func TestNamedSenders(t *testing.T) {
	r := start(t, LinkConfig{Name: "boards", UDP: "127.0.0.1:0", Senders: []string{"127.0.0.2"}}, lines, Env{})
	addr := r.address("listening on UDP ")
	send(t, dial(t, "udp", addr), "evil\n")
	to, err := net.ResolveUDPAddr("udp", addr)
	if err != nil {
		t.Fatal(err)
	}
	ours, err := net.DialUDP("udp", &net.UDPAddr{IP: net.IPv4(127, 0, 0, 2)}, to)
	if err != nil {
		t.Skipf("this computer has no 127.0.0.2: %v", err)
	}
	defer ours.Close() //nolint:errcheck // the test is over
	send(t, ours, "ours\n")
	r.frame("ours")
	if h := r.Health(); h.Bad[reasonSender] != 1 || h.Frames != 1 {
		t.Errorf("health %+v", h)
	}
	r.stop()
	l := start(t, LinkConfig{Name: "bridges", TCPListen: "127.0.0.1:0", Senders: []string{"127.0.0.2"}}, lines, Env{})
	evil := dial(t, "tcp", l.address("listening on TCP "))
	if _, err := evil.Read(make([]byte, 1)); err == nil {
		t.Error("a stranger may connect")
	}
	l.stop()
}
