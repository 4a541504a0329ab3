package ingest

import (
	"errors"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/pelletier/go-toml/v2"
)

func TestLinkConfigTOML(t *testing.T) {
	const text = `
[[link]]
name = "pad-radio"
usb = {vid = "10C4", pid = "EA60", serial = "0001"}
baud = 9600
data_bits = 7
parity = "even"
stop_bits = 2
layout = "lark-bin"
rocket = "Teal"
frame_limit = 512

[[link]]
name = "wifi"
udp = "239.77.1.2:9750"
iface = "wlan0"
udp_stream = true

[[link]]
name = "old"
file = "field.capture"
capture_link = "pad-radio"
`
	var got struct {
		Link []LinkConfig `toml:"link"`
	}
	if err := toml.NewDecoder(strings.NewReader(text)).DisallowUnknownFields().Decode(&got); err != nil {
		t.Fatal(err)
	}
	want := []LinkConfig{
		{Name: "pad-radio", USB: &USBID{VID: "10C4", PID: "EA60", Serial: "0001"}, Baud: 9600, DataBits: 7, Parity: "even", StopBits: 2,
			Layout: "lark-bin", Rocket: "Teal", FrameLimit: 512},
		{Name: "wifi", UDP: "239.77.1.2:9750", Iface: "wlan0", UDPStream: true},
		{Name: "old", File: "field.capture", CaptureLink: "pad-radio"},
	}
	if diff := cmp.Diff(want, got.Link); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	var kinds []string
	for _, l := range got.Link {
		if err := l.Validate(); err != nil {
			t.Error(err)
		}
		kinds = append(kinds, l.Kind()+": "+l.Address())
	}
	for _, l := range []LinkConfig{
		{Serial: "/dev/x"}, {TCP: "h:1"}, {TCPListen: ":1"}, {TNC: "h:2"}, {Stdin: true}, {},
	} {
		kinds = append(kinds, l.Kind()+": "+l.Address())
	}
	diffStrings(t, []string{"usb: USB vid 10C4, pid EA60, serial 0001", "udp: UDP 239.77.1.2:9750", "file: field.capture",
		"serial: /dev/x", "tcp: TCP h:1", "tcp_listen: TCP :1", "tnc: TNC h:2", "stdin: standard input", ": "}, kinds)
}

// Framing is written as its kind alone, or as a table.
func TestFramingTOML(t *testing.T) {
	for text, want := range map[string]Framing{
		`framing = "cobs"`:                                    {Kind: "cobs"},
		`framing = {kind = "line", ends = "lf"}`:              {Kind: "line", Ends: "lf"},
		"[framing]\nkind = \"kiss\"\nport = 3":                {Kind: "kiss", Port: ptr(3)},
		`framing = {kind = "sync", sync = "AA 55", size = 9}`: {Kind: "sync", Sync: "AA 55", Size: 9},
		`framing = {kind = "sync", sync = "7E", keep_sync = true, length_at = 1, length_bytes = 2, length_endian = "big", length_add = -3, length_again = true}`: {
			Kind: "sync", Sync: "7E", KeepSync: true, LengthAt: 1, LengthBytes: 2, LengthEndian: "big", LengthAdd: -3, LengthAgain: true},
	} {
		var got struct {
			Framing Framing `toml:"framing"`
		}
		if err := toml.NewDecoder(strings.NewReader(text)).DisallowUnknownFields().Decode(&got); err != nil {
			t.Errorf("%s: %v", text, err)
			continue
		}
		if diff := cmp.Diff(want, got.Framing); diff != "" {
			t.Errorf("%s (-want +got):\n%s", text, diff)
		}
		if err := got.Framing.Validate(); err != nil {
			t.Errorf("%s: %v", text, err)
		}
	}
}

func TestLinkConfigErrors(t *testing.T) {
	serial := LinkConfig{Name: "a", Serial: "/dev/x", Baud: 9600}
	with := func(change func(*LinkConfig)) LinkConfig {
		c := serial
		change(&c)
		return c
	}
	tests := []struct {
		name  string
		cfg   LinkConfig
		field string
		want  string
	}{
		{"no name", LinkConfig{UDP: ":1"}, "name", "link without a name: name: is missing; write letters"},
		{"bad name", LinkConfig{Name: "pad.radio", UDP: ":1"}, "name", `link "pad.radio": name = "pad.radio": holds '.'; write`},
		{"long name", LinkConfig{Name: strings.Repeat("a", 65), UDP: ":1"}, "name", "longer than 64"},
		{"no address", LinkConfig{Name: "a"}, "serial", "give one of serial, usb, udp"},
		{"two addresses", LinkConfig{Name: "a", UDP: ":1", TCP: "h:1"}, "tcp", "contradicts udp; keep one"},
		{"no baud", LinkConfig{Name: "a", Serial: "/dev/x"}, "baud", "such as baud = 9600"},
		{"baud of udp", LinkConfig{Name: "a", UDP: ":1", Baud: 9600}, "baud", "is for serial ports and files, and this link is udp; leave it out"},
		{"baud range", with(func(c *LinkConfig) { c.Baud = 9 }), "baud", "baud = 9: is out of range"},
		{"data bits", with(func(c *LinkConfig) { c.DataBits = 9 }), "data_bits", "write 5, 6, 7 or 8"},
		{"data bits of udp", LinkConfig{Name: "a", UDP: ":1", DataBits: 8}, "data_bits", "leave them out"},
		{"parity", with(func(c *LinkConfig) { c.Parity = "N" }), "parity", `write "none"`},
		{"stop bits", with(func(c *LinkConfig) { c.StopBits = 3 }), "stop_bits", "write 1, 1.5 or 2"},
		{"1.5 stop bits", with(func(c *LinkConfig) { c.StopBits = 1.5 }), "stop_bits", "5 data bits only"},
		{"frame limit", with(func(c *LinkConfig) { c.FrameLimit = 70000 }), "frame_limit", "write 1 to 65535"},
		{"usb empty", LinkConfig{Name: "a", USB: &USBID{}, Baud: 9600}, "usb", "names no device; write vid and pid, or product"},
		{"usb vid", LinkConfig{Name: "a", USB: &USBID{VID: "0x10C4"}, Baud: 9600}, "usb.vid", "is not four hex digits"},
		{"usb pid", LinkConfig{Name: "a", USB: &USBID{PID: "EA6G"}, Baud: 9600}, "usb.pid", "is not four hex digits"},
		{"udp port", LinkConfig{Name: "a", UDP: "9750"}, "udp", "is not an address with a port; write a port after a colon"},
		{"udp port range", LinkConfig{Name: "a", UDP: ":99999"}, "udp", "has no port from 0 to 65535"},
		{"iface without group", LinkConfig{Name: "a", UDP: ":9750", Iface: "lo"}, "iface", "is for multicast groups, and :9750 is none"},
		{"iface of tcp", LinkConfig{Name: "a", TCP: "h:1", Iface: "lo"}, "iface", "is for udp links"},
		{"udp_stream of tcp", LinkConfig{Name: "a", TCP: "h:1", UDPStream: true}, "udp_stream", "is for udp links"},
		{"tcp without host", LinkConfig{Name: "a", TCP: ":9750"}, "tcp", "does not say where to connect to"},
		{"tcp_listen", LinkConfig{Name: "a", TCPListen: "x"}, "tcp_listen", "is not an address"},
		{"tnc", LinkConfig{Name: "a", TNC: "host:0"}, "tnc", "does not say where"},
		{"command without a program", LinkConfig{Name: "a", Command: []string{"", "x"}}, "command", "names no program"},
		{"mqtt without topic", LinkConfig{Name: "a", MQTT: "h:1883"}, "topic", `such as topic = "rockets/teal"`},
		{"topic", LinkConfig{Name: "a", MQTT: "h:1883", Topic: "rockets/#/x"}, "topic", "a # that is not the end"},
		{"topic level", LinkConfig{Name: "a", MQTTListen: ":1883", Topic: "rock+"}, "topic", "does not stand alone"},
		{"topic of udp", LinkConfig{Name: "a", UDP: ":1", Topic: "x"}, "topic", "is for mqtt and mqtt_listen links, and this link is udp"},
		{"user alone", LinkConfig{Name: "a", MQTTListen: ":1883", User: "boards"}, "user", "and password_file belong together"},
		{"mqtt without host", LinkConfig{Name: "a", MQTT: ":1883", Topic: "x"}, "mqtt", "does not say where to connect to"},
		{"subject", LinkConfig{Name: "a", NATS: "boards..teal"}, "nats", "is no subject"},
		{"subject of the station", LinkConfig{Name: "a", NATS: "padlark.x.event"}, "nats", "begins as the station's own subjects do"},
		{"all subjects", LinkConfig{Name: "a", NATS: ">"}, "nats", "begins as the station's own"},
		{"gpsd", LinkConfig{Name: "a", GPSD: "localhost"}, "gpsd", "is not an address with a port"},
		{"capture_link", LinkConfig{Name: "a", UDP: ":1", CaptureLink: "x"}, "capture_link", "is for file and stdin links"},
	}
	for _, tc := range tests {
		t.Run(tc.name, func(t *testing.T) { wantConfigError(t, tc.cfg.Validate(), tc.field, tc.want) })
	}
	if err := serial.Validate(); err != nil {
		t.Errorf("the twin that is right: %v", err)
	}
}

func wantConfigError(t *testing.T, err error, field, want string) {
	t.Helper()
	var ce *ConfigError
	if !errors.As(err, &ce) {
		t.Fatalf("got %v, want a *ConfigError", err)
	}
	if ce.Field != field || ce.Mend == "" {
		t.Errorf("field %q and mend %q, want field %q and a mend", ce.Field, ce.Mend, field)
	}
	if !strings.Contains(err.Error(), want) {
		t.Errorf("got %q, want %q in it", err, want)
	}
}

func TestFramingErrors(t *testing.T) {
	sync := Framing{Kind: "sync", Sync: "AA 55", LengthBytes: 1}
	with := func(change func(*Framing)) Framing {
		f := sync
		change(&f)
		return f
	}
	tests := []struct {
		name    string
		framing Framing
		field   string
		want    string
	}{
		{"no kind", Framing{}, "kind", "is missing; write one of line"},
		{"kind", Framing{Kind: "hdlc"}, "kind", `kind = "hdlc": is not known`},
		{"ends of cobs", Framing{Kind: "cobs", Ends: "lf"}, "ends", "is for line framing only"},
		{"ends", Framing{Kind: "line", Ends: "\n"}, "ends", "is not known"},
		{"port of slip", Framing{Kind: "slip", Port: ptr(0)}, "port", "is for kiss framing only"},
		{"port range", Framing{Kind: "kiss", Port: ptr(16)}, "port", "port = 16: is not a TNC port"},
		{"sync of line", Framing{Kind: "line", Sync: "AA"}, "sync", "is for sync framing only, and the kind is line"},
		{"length of line", Framing{Kind: "line", LengthAgain: true}, "length_again", "is for sync framing only"},
		{"not hex", with(func(f *Framing) { f.Sync = "AA 5" }), "sync", "is not hex"},
		{"no sync", with(func(f *Framing) { *f = Framing{Kind: f.Kind, Size: 4} }), "sync", "is missing, and so is length_bytes"},
		{"no sync to keep", Framing{Kind: "sync", LengthBytes: 2, KeepSync: true}, "keep_sync", "there is none"},
		{"long sync", with(func(f *Framing) { f.Sync = "00 11 22 33 44 55 66 77 88" }), "sync", "has 9 bytes"},
		{"size and length", with(func(f *Framing) { f.Size = 4 }), "size", "contradicts the length field"},
		{"neither", Framing{Kind: "sync", Sync: "AA"}, "size", "is missing, and so is length_bytes"},
		{"size range", Framing{Kind: "sync", Sync: "AA", Size: -1}, "size", "out of range"},
		{"length_bytes", with(func(f *Framing) { f.LengthBytes = 8 }), "length_bytes", "write 1 to 4"},
		{"length_at", with(func(f *Framing) { f.LengthAt = -1 }), "length_at", "write 0 to 255"},
		{"endian", with(func(f *Framing) { f.LengthEndian = "msb" }), "length_endian", `write "little" or "big"`},
		{"length_add", with(func(f *Framing) { f.LengthAdd = 1 << 20 }), "length_add", "out of range"},
	}
	for _, tc := range tests {
		t.Run(tc.name, func(t *testing.T) { wantConfigError(t, tc.framing.Validate(), tc.field, tc.want) })
	}
	if err := sync.Validate(); err != nil {
		t.Errorf("the twin that is right: %v", err)
	}
	_, err := NewFramer(Framing{Kind: "sync", Sync: "AA", Size: 2000}, 0)
	wantConfigError(t, err, "size", "is over the frame limit of 1024 bytes; raise frame_limit")
	_, err = NewFramer(Framing{Kind: "line"}, 70000)
	wantConfigError(t, err, "frame_limit", "out of range")
}

func TestCheckFraming(t *testing.T) {
	datagram, kiss := Framing{Kind: "datagram"}, Framing{Kind: "kiss"}
	udp := LinkConfig{Name: "a", UDP: ":1"}
	stream := LinkConfig{Name: "a", UDP: ":1", UDPStream: true}
	tcp := LinkConfig{Name: "a", TCP: "h:1"}
	tnc := LinkConfig{Name: "a", TNC: "h:1"}
	for _, ok := range []struct {
		cfg     LinkConfig
		framing Framing
	}{{udp, datagram}, {udp, lines}, {stream, lines}, {tcp, kiss}, {tnc, kiss}} {
		if err := ok.cfg.CheckFraming(ok.framing); err != nil {
			t.Error(err)
		}
	}
	wantConfigError(t, stream.CheckFraming(datagram), "layout", "this link has no datagrams")
	wantConfigError(t, tcp.CheckFraming(datagram), "layout", "this link has no datagrams")
	_, err := NewReceiver(tnc, lines, Env{Clock: StartClock()})
	wantConfigError(t, err, "layout", "a tnc speaks KISS; use a layout")
}
