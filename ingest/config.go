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
	// Command is a program with its arguments, whose standard output is the
	// stream of bytes; it is started again when it ends.
	Command []string `toml:"command" json:"command,omitempty"`
	// MQTT is the host and port of a broker, and Topic what to subscribe to
	// there; MQTTListen the address of a broker of padlark's own, to which boards
	// publish. Each message is a datagram. User and PasswordFile are shown to the
	// broker, or asked of whoever connects.
	MQTT         string `toml:"mqtt" json:"mqtt,omitempty"`
	MQTTListen   string `toml:"mqtt_listen" json:"mqtt_listen,omitempty"`
	Topic        string `toml:"topic" json:"topic,omitempty"`
	User         string `toml:"user" json:"user,omitempty"`
	PasswordFile string `toml:"password_file" json:"password_file,omitempty"`
	// NATS is a subject of the station's own bus on which a program publishes
	// what its board sent, one message a datagram. With PasswordFile only who shows
	// that word as a token may, and may do nothing else.
	NATS string `toml:"nats" json:"nats,omitempty"`
	// GPSD is the host and port of a gpsd, whose reports come as lines of JSON.
	GPSD string `toml:"gpsd" json:"gpsd,omitempty"`
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
	// Also names the layouts of other boards on the same port, with the same
	// framing; the first that knows a frame decodes it.
	Also []string `toml:"also" json:"also,omitempty"`
	// FrameLimit is the most bytes that a message may have; 0 means 1024.
	FrameLimit int `toml:"frame_limit" json:"frame_limit,omitempty"`
}

// USBID is the identity of a USB serial adapter, hex as the system prints it.
// What is empty matches anything.
type USBID struct {
	// VID and PID are the adapter's vendor and product, four hex digits each;
	// Serial is its serial number, Product the name that it gives itself, or a part
	// of it. padlark ports prints them.
	VID     string `toml:"vid" json:"vid,omitempty"`
	PID     string `toml:"pid" json:"pid,omitempty"`
	Serial  string `toml:"serial" json:"serial,omitempty"`
	Product string `toml:"product" json:"product,omitempty"`
}

func (u USBID) String() string {
	var parts []string
	for _, p := range []struct{ name, value string }{{"vid", u.VID}, {"pid", u.PID}, {"serial", u.Serial}, {"name", u.Product}} {
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
	kindCommand   = "command"
	kindMQTT      = "mqtt"
	// The broker of padlark's own.
	kindMQTTListen = "mqtt_listen"
	kindNATS       = "nats"
	kindGPSD       = "gpsd"
	kindFile       = "file"
	kindStdin      = "stdin"
)

// Layouts are the names of all its layouts.
func (c LinkConfig) Layouts() []string { return append([]string{c.Layout}, c.Also...) }

// addresses are the kinds that are given.
func (c LinkConfig) addresses() []string {
	var kinds []string
	for _, a := range []struct {
		kind  string
		given bool
	}{
		{kindSerial, c.Serial != ""}, {kindUSB, c.USB != nil}, {kindUDP, c.UDP != ""}, {kindTCP, c.TCP != ""},
		{kindTCPListen, c.TCPListen != ""}, {kindTNC, c.TNC != ""},
		{kindCommand, len(c.Command) > 0}, {kindMQTT, c.MQTT != ""}, {kindMQTTListen, c.MQTTListen != ""}, {kindNATS, c.NATS != ""},
		{kindGPSD, c.GPSD != ""}, {kindFile, c.File != ""}, {kindStdin, c.Stdin},
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
	case kindCommand:
		return strings.Join(c.Command, " ")
	case kindMQTT:
		return "MQTT " + c.MQTT + ", topic " + c.Topic
	case kindMQTTListen:
		return "MQTT " + c.MQTTListen
	case kindNATS:
		return "bus subject " + c.NATS
	case kindGPSD:
		return "gpsd " + c.GPSD
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
	const all = "serial, usb, udp, tcp, tcp_listen, tnc, command, mqtt, mqtt_listen, nats, gpsd, file, stdin"
	switch {
	case len(kinds) == 0:
		return c.fault("serial", "", "is missing, and so is every other address", "give one of "+all)
	case len(kinds) > 1:
		return c.fault(kinds[1], "", "contradicts "+kinds[0], "keep one of them, and make a second [[link]] for the other")
	case c.FrameLimit < 0 || c.FrameLimit > maxFrameLimit:
		return c.fault("frame_limit", c.FrameLimit, "is out of range", fmt.Sprintf("write 1 to %d bytes, or leave it out for %d", maxFrameLimit, defaultFrameLimit))
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
	if err := c.validateBelongs(kind); err != nil {
		return err
	}
	if _, err := parseSenders(c.Senders); err != nil {
		return c.fault("senders", strings.Join(c.Senders, ", "), err.Error(), `write addresses or networks, such as senders = ["192.168.4.1", "10.1.0.0/16"]`)
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
	case kindGPSD:
		return c.validateHostPort("gpsd", c.GPSD, true)
	case kindCommand:
		if c.Command[0] == "" {
			return c.fault("command", "", "names no program", `write the program and its arguments apart, such as command = ["arecord", "-q", "-t", "raw"]`)
		}
	case kindMQTT:
		if err := c.validateHostPort("mqtt", c.MQTT, true); err != nil {
			return err
		}
		return c.validateTopic()
	case kindMQTTListen:
		if err := c.validateHostPort("mqtt_listen", c.MQTTListen, false); err != nil {
			return err
		}
		return c.validateTopic()
	case kindNATS:
		return c.validateSubject()
	}
	return nil
}

// validateBelongs finds keys that mean nothing for this kind of link.
func (c LinkConfig) validateBelongs(kind string) error {
	for _, k := range []struct {
		field string
		given bool
		kinds []string
	}{
		{"udp_stream", c.UDPStream, []string{kindUDP}},
		{"iface", c.Iface != "", []string{kindUDP}},
		{"senders", len(c.Senders) > 0, []string{kindUDP, kindTCPListen, kindMQTTListen}},
		{"capture_link", c.CaptureLink != "", []string{kindFile, kindStdin}},
		{"topic", c.Topic != "", []string{kindMQTT, kindMQTTListen}},
		{"user", c.User != "", []string{kindMQTT, kindMQTTListen}},
		{"password_file", c.PasswordFile != "", []string{kindMQTT, kindMQTTListen, kindNATS}},
	} {
		if k.given && !oneOf(kind, k.kinds...) {
			return c.fault(k.field, "", "is for "+strings.Join(k.kinds, " and ")+" links, and this link is "+kind, "leave it out")
		}
	}
	if kind != kindNATS && (c.User == "") != (c.PasswordFile == "") {
		return c.fault("user", "", "and password_file belong together", `give both, or neither; password_file is the path of a file that holds the password alone`)
	}
	return nil
}

// validateTopic checks an MQTT topic filter (MQTT 3.1.1, 4.7): + stands for one
// whole level, and # for all the rest.
func (c LinkConfig) validateTopic() error {
	const mend = `write it as the board does, such as topic = "rockets/teal"; + stands for one level, # at the end for all below`
	switch {
	case c.Topic == "" && c.Kind() == kindMQTTListen:
		return nil // all that is published
	case c.Topic == "":
		return c.fault("topic", "", "is missing", mend)
	case len(c.Topic) > 256 || strings.ContainsRune(c.Topic, 0):
		return c.fault("topic", quote(c.Topic), "is too long, or holds a NUL", mend)
	}
	levels := strings.Split(c.Topic, "/")
	for i, l := range levels {
		if strings.ContainsAny(l, "+#") && len(l) > 1 || l == "#" && i < len(levels)-1 {
			return c.fault("topic", quote(c.Topic), "has a + or # that does not stand alone, or a # that is not the end", mend)
		}
	}
	return nil
}

// validateSubject checks a subject of the bus: words with dots between, of which *
// stands for any one and > at the end for all below.
func (c LinkConfig) validateSubject() error {
	const mend = `write words with dots between, such as nats = "boards.teal"`
	words := strings.Split(c.NATS, ".")
	for i, w := range words {
		switch {
		case w == "" || strings.ContainsFunc(w, func(r rune) bool { return r <= ' ' || r > '~' }):
			return c.fault("nats", quote(c.NATS), "is no subject", mend)
		case w != ">" && w != "*" && strings.ContainsAny(w, "*>"), w == ">" && i < len(words)-1:
			return c.fault("nats", quote(c.NATS), "has a * or > that does not stand alone, or a > that is not the end", mend)
		}
	}
	if oneOf(words[0], "padlark", "*", ">") || strings.HasPrefix(words[0], "$") || strings.HasPrefix(words[0], "_") {
		return c.fault("nats", quote(c.NATS), "begins as the station's own subjects do", mend)
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
		return c.fault("usb", "", "names no device", `write vid and pid, or product, and serial if there are several alike; "padlark ports" prints them`)
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

// datagrams says whether each thing that the link hears is whole by itself.
func (c LinkConfig) datagrams() bool {
	switch c.Kind() {
	case kindUDP:
		return !c.UDPStream
	case kindMQTT, kindMQTTListen, kindNATS:
		return true
	}
	return false
}

// CheckFraming says, as a *ConfigError, whether a link can carry a framing.
func (c LinkConfig) CheckFraming(f Framing) error {
	kind := c.Kind()
	switch {
	case f.Kind == FramingDatagram && !c.datagrams() && kind != kindFile && kind != kindStdin:
		return c.fault("layout", quote(c.Layout), "has datagram framing, and this link has no datagrams", "use a layout with another framing, or a udp, mqtt or nats link")
	case kind == kindTNC && f.Kind != FramingKISS:
		return c.fault("layout", quote(c.Layout), "has "+f.Kind+" framing, and a tnc speaks KISS", `use a layout with framing = "kiss", or write tcp = `+quote(c.TNC))
	case kind == kindGPSD && f.Kind != FramingLine:
		return c.fault("layout", quote(c.Layout), "has "+f.Kind+" framing, and gpsd sends lines of JSON", `use a layout with framing = "line", such as the built-in "gpsd"`)
	}
	return nil
}

// gpsdLimit is as long as a report of gpsd may be (its own bound, from memory): with
// many satellites in sight it exceeds what a board would send.
const gpsdLimit = 10240

// frameLimit is the limit in effect.
func (c LinkConfig) frameLimit() int {
	switch {
	case c.FrameLimit != 0:
		return c.FrameLimit
	case c.GPSD != "":
		return gpsdLimit
	}
	return defaultFrameLimit
}
