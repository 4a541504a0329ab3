package station

import (
	"net"
	"testing"
)

// The addresses of the cases are those set aside for documentation (RFC 5737
// and RFC 3849; from memory).
func TestTypable(t *testing.T) {
	ip := func(s string) *net.IPNet { return &net.IPNet{IP: net.ParseIP(s), Mask: net.CIDRMask(24, 32)} }
	own := []net.Addr{ip("127.0.0.1"), ip("::1"), ip("2001:db8::7"), ip("169.254.3.4"), ip("192.0.2.10"), ip("198.51.100.2")}
	for _, c := range []struct {
		listening string
		own       []net.Addr
		want      string
	}{
		{"[::]:9700", own, "192.0.2.10:9700"},
		{"0.0.0.0:9700", own, "192.0.2.10:9700"},
		{"0.0.0.0:9700", own[:3], "127.0.0.1:9700"},
		{"127.0.0.1:9700", own, "127.0.0.1:9700"},
		{"[2001:db8::7]:80", own, "[2001:db8::7]:80"},
	} {
		addr, err := net.ResolveTCPAddr("tcp", c.listening)
		if err != nil {
			t.Fatal(err)
		}
		if got := typable(addr, c.own); got != c.want {
			t.Errorf("%s: %s, want %s", c.listening, got, c.want)
		}
	}
}
