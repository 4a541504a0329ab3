package station

import "net"

// typable is the address of the pages as a person types it into a browser. A
// server that listens on all addresses of this computer tells the first one
// that others can reach, of those in own; loopback where there is none.
func typable(listening net.Addr, own []net.Addr) string {
	tcp, ok := listening.(*net.TCPAddr)
	if !ok || !tcp.IP.IsUnspecified() {
		return listening.String()
	}
	shown := net.TCPAddr{IP: net.IPv4(127, 0, 0, 1), Port: tcp.Port}
	for _, a := range own {
		// Version 4 only: nobody types the other by heart, and a link-local one
		// does not work without its zone.
		if n, ok := a.(*net.IPNet); ok && n.IP.To4() != nil && n.IP.IsGlobalUnicast() {
			shown.IP = n.IP
			break
		}
	}
	return shown.String()
}
