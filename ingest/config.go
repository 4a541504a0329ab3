package ingest

import (
	"fmt"
	"net"
	"strconv"
	"strings"
)

// LinkConfig is one [[link]] of the configuration: exactly one address, and
// what goes with it.
type LinkConfig struct {
	// Name is used in subjects and paths: letters, digits, - and _.
	Name string `toml:"name" json:"name"`

	// Serial is the path of a serial port; USB names it by its identity
	// instead, wherever the system puts it.
	Serial string `toml:"serial" json:"serial,omitempty"`
	USB    *USBID `toml:"usb" json:"usb,omitempty"`
	// UDP is the address to listen on, ":9750" or "239.1.2.3:9750" for a
	// multicast group, which Iface (a network interface) may narrow.
	UDP   string `toml:"udp" json:"udp,omitempty"`
	Iface string `toml:"iface" json:"iface,omitempty"`
	// UDPStream says that datagrams are pieces of one stream of bytes for each
	// sender, as serial-to-network bridges send them; else each datagram holds
	// whole messages.
	UDPStream bool `toml:"udp_stream" json:"udp_stream,omitempty"`
	// Senders are the addresses, or networks in CIDR form, from which a udp or
	// tcp_listen link takes anything; empty means from all.
	Senders []string `toml:"senders" json:"senders,omitempty"`
	// TCP is a host and port to connect to, TCPListen an address to be
	// connected to, TNC a host and port that speaks KISS.
	TCP       string `toml:"tcp" json:"tcp,omitempty"`
	TCPListen string `toml:"tcp_listen" json:"tcp_listen,omitempty"`
	TNC       string `toml:"tnc" json:"tnc,omitempty"`
	// File is read from its start: plain bytes or a capture. Stdin reads the
	// standard input in the same way.
	File  string `toml:"file" json:"file,omitempty"`
	Stdin bool   `toml:"stdin" json:"stdin,omitempty"`
	// CaptureLink is which link of a capture to read; if empty, the one with
	// this link's name, or the only one.
	CaptureLink string `toml:"capture_link" json:"capture_link,omitempty"`

	// Baud is the rate in bits per second. A plain file with a rate is read at
	// that rate.
	Baud int `toml:"baud" json:"baud,omitempty"`
	// DataBits is 5 to 8 (default 8), Parity none, odd, even, mark or space
	// (default none), StopBits 1, 1.5 or 2 (default 1).
	DataBits int     `toml:"data_bits" json:"data_bits,omitempty"`
	Parity   string  `toml:"parity" json:"parity,omitempty"`
	StopBits float64 `toml:"stop_bits" json:"stop_bits,omitempty"`

	// Layout names the layout of its frames, Rocket the rocket that they are
	// from if the frames do not say.
	Layout string `toml:"layout" json:"layout,omitempty"`
	Rocket string `toml:"rocket" json:"rocket,omitempty"`
	// FrameLimit is the most bytes that a message may have; 0 means 1024.
	FrameLimit int `toml:"frame_limit" json:"frame_limit,omitempty"`
}

// USBID is the identity of a USB serial adapter, hex as the system prints it.
// What is empty matches anything.
type USBID struct {
	VID    string `toml:"vid" json:"vid,omitempty"`
	PID    string `toml:"pid" json:"pid,omitempty"`
	Serial string `toml:"serial" json:"serial,omitempty"`
}

func (u USBID) String() string {
	var parts []string
	for _, p := range []struct{ name, value string }{{"vid", u.VID}, {"pid", u.PID}, {"serial", u.Serial}} {
		if p.value != "" {
			parts = append(parts, p.name+" "+p.value)
		}
	}
	return "USB " + strings.Join(parts, ", ")
}

// The kinds of link, as Kind gives them: the configuration's keys.
const (
	kindSerial    = "serial"
	kindUSB       = "usb"
	kindUDP       = "udp"
	kindTCP       = "tcp"
	kindTCPListen = "tcp_listen"
	kindTNC       = "tnc"
	kindFile      = "file"
	kindStdin     = "stdin"
)

// addresses are the kinds that are given.
func (c LinkConfig) addresses() []string {
	var kinds []string
	for _, a := range []struct {
		kind  string
		given bool
	}{
		{kindSerial, c.Serial != ""}, {kindUSB, c.USB != nil}, {kindUDP, c.UDP != ""}, {kindTCP, c.TCP != ""},
		{kindTCPListen, c.TCPListen != ""}, {kindTNC, c.TNC != ""}, {kindFile, c.File != ""}, {kindStdin, c.Stdin},
	} {
		if a.given {
			kinds = append(kinds, a.kind)
		}
	}
	return kinds
}

// Kind is the key under which the address is given, "" if there is not exactly
// one.
func (c LinkConfig) Kind() string {
	if k := c.addresses(); len(k) == 1 {
		return k[0]
	}
	return ""
}

// Address is where the link listens, in words.
func (c LinkConfig) Address() string {
	switch c.Kind() {
	case kindSerial:
		return c.Serial
	case kindUSB:
		return c.USB.String()
	case kindUDP:
		return "UDP " + c.UDP
	case kindTCP:
		return "TCP " + c.TCP
	case kindTCPListen:
		return "TCP " + c.TCPListen
	case kindTNC:
		return "TNC " + c.TNC
	case kindFile:
		return c.File
	case kindStdin:
		return "standard input"
	}
	return ""
}

// fault is a ConfigError of this link.
func (c LinkConfig) fault(field string, value any, problem, mend string) error {
	where := "link without a name"
	if c.Name != "" {
		where = "link " + quote(c.Name)
	}
	return &ConfigError{Where: where, Field: field, Value: fmt.Sprint(value), Problem: problem, Mend: mend}
}

// Validate says what is wrong, as a *ConfigError, or nil.
func (c LinkConfig) Validate() error {
	if err := c.validateName(); err != nil {
		return err
	}
	kinds := c.addresses()
	const all = "serial, usb, udp, tcp, tcp_listen, tnc, file, stdin"
	switch {
	case len(kinds) == 0:
		return c.fault("serial", "", "is missing, and so is every other address", "give one of "+all)
	case len(kinds) > 1:
		return c.fault(kinds[1], "", "contradicts "+kinds[0], "keep one of them, and make a second [[link]] for the other")
	case c.FrameLimit < 0 || c.FrameLimit > maxFrameLimit:
		return c.fault("frame_limit", c.FrameLimit, "is out of range", fmt.Sprintf("write 1 to %d bytes, or leave it out for %d", maxFrameLimit, DefaultFrameLimit))
	}
	if err := c.validateLine(kinds[0]); err != nil {
		return err
	}
	return c.validateAddress(kinds[0])
}

func (c LinkConfig) validateName() error {
	const mend = "write letters, digits, - and _, such as \"pad-radio\""
	switch {
	case c.Name == "":
		return c.fault("name", "", "is missing", mend)
	case len(c.Name) > 64:
		return c.fault("name", quote(c.Name), "is longer than 64 bytes", mend)
	}
	for _, r := range c.Name {
		if !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' || r == '_') {
			return c.fault("name", quote(c.Name), fmt.Sprintf("holds %q", r), mend)
		}
	}
	return nil
}

// validateLine checks the settings of the serial line.
func (c LinkConfig) validateLine(kind string) error {
	serial := kind == kindSerial || kind == kindUSB
	switch {
	case serial && c.Baud == 0:
		return c.fault("baud", "", "is missing", "write the rate that the board or radio sends at, such as baud = 9600")
	case !serial && kind != kindFile && kind != kindStdin && c.Baud != 0:
		return c.fault("baud", c.Baud, "is for serial ports and files, and this link is "+kind, "leave it out")
	case c.Baud != 0 && (c.Baud < 50 || c.Baud > 20_000_000):
		return c.fault("baud", c.Baud, "is out of range", "write 50 to 20000000 bits per second, such as baud = 9600")
	case !serial && (c.DataBits != 0 || c.Parity != "" || c.StopBits != 0):
		return c.fault("data_bits", "", "and parity and stop_bits are for serial ports, and this link is "+kind, "leave them out")
	case c.DataBits != 0 && (c.DataBits < 5 || c.DataBits > 8):
		return c.fault("data_bits", c.DataBits, "is out of range", "write 5, 6, 7 or 8")
	case !oneOf(c.Parity, "", "none", "odd", "even", "mark", "space"):
		return c.fault("parity", quote(c.Parity), "is not known", `write "none", "odd", "even", "mark" or "space"`)
	case c.StopBits != 0 && c.StopBits != 1 && c.StopBits != 1.5 && c.StopBits != 2:
		return c.fault("stop_bits", c.StopBits, "is not a number of stop bits", "write 1, 1.5 or 2")
	case c.StopBits == 1.5 && c.DataBits != 5:
		return c.fault("stop_bits", c.StopBits, "goes with 5 data bits only", "write 1 or 2, or data_bits = 5")
	}
	return nil
}

func (c LinkConfig) validateAddress(kind string) error {
	if kind != kindUDP && (c.UDPStream || c.Iface != "") {
		field := "iface"
		if c.UDPStream {
			field = "udp_stream"
		}
		return c.fault(field, "", "is for udp links, and this link is "+kind, "leave it out")
	}
	if len(c.Senders) > 0 && kind != kindUDP && kind != kindTCPListen {
		return c.fault("senders", "", "are for udp and tcp_listen links, and this link is "+kind, "leave it out")
	}
	if _, err := parseSenders(c.Senders); err != nil {
		return c.fault("senders", strings.Join(c.Senders, ", "), err.Error(), `write addresses or networks, such as senders = ["192.168.4.1", "10.1.0.0/16"]`)
	}
	if c.CaptureLink != "" && kind != kindFile && kind != kindStdin {
		return c.fault("capture_link", quote(c.CaptureLink), "is for file and stdin links, and this link is "+kind, "leave it out")
	}
	switch kind {
	case kindUSB:
		return c.validateUSB()
	case kindUDP:
		if err := c.validateHostPort("udp", c.UDP, false); err != nil {
			return err
		}
		if _, multicast := multicastGroup(c.UDP); c.Iface != "" && !multicast {
			return c.fault("iface", quote(c.Iface), "is for multicast groups, and "+c.UDP+" is none", "leave it out, or write a group such as udp = \"239.0.0.1:9750\"")
		}
	case kindTCP:
		return c.validateHostPort("tcp", c.TCP, true)
	case kindTCPListen:
		return c.validateHostPort("tcp_listen", c.TCPListen, false)
	case kindTNC:
		return c.validateHostPort("tnc", c.TNC, true)
	}
	return nil
}

// validateHostPort checks an address; one to connect to needs a host and a
// port that is not 0.
func (c LinkConfig) validateHostPort(field, addr string, connect bool) error {
	mend := `write host and port, such as "192.168.4.1:9750"`
	if !connect {
		mend = `write a port after a colon, such as ":9750", or an address of this computer before it`
	}
	host, port, err := net.SplitHostPort(addr)
	if err != nil {
		return c.fault(field, quote(addr), "is not an address with a port", mend)
	}
	n, err := strconv.ParseUint(port, 10, 16)
	if err != nil {
		return c.fault(field, quote(addr), "has no port from 0 to 65535", mend)
	}
	if connect && (host == "" || n == 0) {
		return c.fault(field, quote(addr), "does not say where to connect to", mend)
	}
	return nil
}

func (c LinkConfig) validateUSB() error {
	if *c.USB == (USBID{}) {
		return c.fault("usb", "", "names no device", `write vid and pid, and serial if there are several alike; "padlark ports" prints them`)
	}
	for _, id := range []struct{ field, value string }{{"usb.vid", c.USB.VID}, {"usb.pid", c.USB.PID}} {
		if id.value == "" {
			continue
		}
		if _, err := strconv.ParseUint(id.value, 16, 16); err != nil || len(id.value) != 4 {
			return c.fault(id.field, quote(id.value), "is not four hex digits", `write it as "padlark ports" prints it, such as "10C4"`)
		}
	}
	return nil
}

// CheckFraming says, as a *ConfigError, whether a link can carry a framing.
func (c LinkConfig) CheckFraming(f Framing) error {
	kind := c.Kind()
	switch {
	case f.Kind == FramingDatagram && (kind != kindUDP || c.UDPStream) && kind != kindFile && kind != kindStdin:
		return c.fault("layout", quote(c.Layout), "has datagram framing, and this link has no datagrams", "use a layout with another framing, or a udp link")
	case kind == kindTNC && f.Kind != FramingKISS:
		return c.fault("layout", quote(c.Layout), "has "+f.Kind+" framing, and a tnc speaks KISS", `use a layout with framing = "kiss", or write tcp = `+quote(c.TNC))
	}
	return nil
}

// frameLimit is the limit in effect.
func (c LinkConfig) frameLimit() int {
	if c.FrameLimit == 0 {
		return DefaultFrameLimit
	}
	return c.FrameLimit
}
