package decode

import (
	"encoding/hex"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/pelletier/go-toml/v2"

	"padlark/ingest"
)

// layouts reads layouts as a configuration file has them.
func layouts(t testing.TB, text string) []Layout {
	t.Helper()
	var file struct {
		Layout []Layout `toml:"layout"`
	}
	d := toml.NewDecoder(strings.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(&file); err != nil {
		t.Fatalf("read layouts: %v", err)
	}
	return file.Layout
}

func compile(t testing.TB, text string) *Program {
	t.Helper()
	ls := layouts(t, text)
	p, err := Compile(ls[0], ls)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func builtin(t testing.TB, name string) *Program {
	t.Helper()
	ls, err := Builtin()
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range ls {
		if l.Name == name {
			p, err := Compile(l, nil)
			if err != nil {
				t.Fatal(err)
			}
			return p
		}
	}
	t.Fatalf("no layout %s", name)
	return nil
}

// epoch is when the sessions of these tests began.
func epoch() time.Time { return time.Date(2026, 5, 9, 10, 0, 0, 0, time.UTC) }

func frame(link string, n int, mono time.Duration, b []byte) ingest.Frame {
	return ingest.Frame{Session: "s1", Link: link, N: uint64(n), Heard: epoch().Add(mono), Mono: int64(mono), Passed: int64(mono), Bytes: b}
}

// station makes a decoder with one link, "pad".
func station(t testing.TB, text string, names ...string) *Decoder {
	t.Helper()
	cfg := Config{Links: []LinkLayouts{{Link: "pad", Layouts: names, Rocket: "Teal"}}}
	if text != "" {
		cfg.Layouts = layouts(t, text)
	}
	d, err := New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func decodeOne(t testing.TB, d *Decoder, b []byte) Sample {
	t.Helper()
	s, err := d.Decode(frame("pad", 1, time.Second, b))
	if err != nil {
		t.Fatalf("decode %q: %v", b, err)
	}
	return s
}

// values is the sample's channels as a map, missing ones as NaN.
func values(s Sample) map[string]float64 {
	out := map[string]float64{}
	for i, n := range s.Values.Names {
		out[n] = s.Values.Values[i]
	}
	return out
}

func sameFloats() cmp.Option {
	return cmp.Comparer(func(a, b float64) bool {
		return a == b || math.IsNaN(a) && math.IsNaN(b) || math.Abs(a-b) <= 1e-9*math.Max(1, math.Abs(b))
	})
}

func diff(t testing.TB, what string, want, got any) {
	t.Helper()
	if d := cmp.Diff(want, got, sameFloats()); d != "" {
		t.Errorf("%s (-want +got):\n%s", what, d)
	}
}

func unhex(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(s, " ", ""))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func rejectOf(t testing.TB, d *Decoder, b []byte) *Reject {
	t.Helper()
	s, err := d.Decode(frame("pad", 1, time.Second, b))
	var r *Reject
	if !errors.As(err, &r) {
		t.Fatalf("decode %q: %+v, %v; want a reject", b, s, err)
	}
	return r
}

func TestLarkText(t *testing.T) {
	d := station(t, "", "lark-text")
	// The checksums were computed apart from this program, by the definition of
	// NMEA 0183.
	s := decodeOne(t, d, []byte("$PLRK,7,3,412,20650,100129.4,2150,4012,1100,2*09\r\n"))
	diff(t, "identity", []any{"id-7", uint32(3), int64(412), int64(20650000)}, []any{s.Rocket, s.Boot, s.Seq, s.Clock})
	diff(t, "channels", map[string]float64{
		"pressure_pa": 100129.4, "temperature_c": 21.5, "cell_v": 4.012, "release_us": 1100, "release_on": 0, "armed": 1,
	}, values(s))
	s = decodeOne(t, d, []byte("$PLRK,7,3,413,20700,,,,,*2E"))
	for n, v := range values(s) {
		if !math.IsNaN(v) {
			t.Errorf("%s = %v, want missing", n, v)
		}
	}
}

func TestLarkBin(t *testing.T) {
	d := station(t, "", "lark-bin")
	body := unhex(t, "01 07 03 9C01 AA500000 66480F00 6608 AC0F 4C04 03")
	// 0x000F4866 = 1001574 dPa; 0x0866 = 2150; 0x0FAC = 4012; 0x044C = 1100.
	s, _ := findSum("CRC-16/IBM-3740")
	crc := s.calc(body)
	got := decodeOne(t, d, append(body, byte(crc), byte(crc>>8)))
	diff(t, "identity", []any{"id-7", uint32(3), int64(412), int64(20650000)}, []any{got.Rocket, got.Boot, got.Seq, got.Clock})
	diff(t, "channels", map[string]float64{
		"pressure_pa": 100157.4, "temperature_c": 21.5, "cell_v": 4.012, "release_us": 1100, "release_on": 1, "armed": 1,
	}, values(got))
	if n := builtin(t, "lark-bin").binary.length; n != 22 {
		t.Errorf("the frame has %d bytes, want 22 (24 on the wire with COBS and delimiter)", n)
	}
}

// ggaLayout is a GPS position as a user would describe it.
const ggaLayout = `
[[layout]]
name = "gps"
framing = "line"
form = "nmea"
sentence = "GGA"
more = true
fields = [
  { name = "utc_s", unit = "hhmmss" },
  { name = "latitude_deg", unit = "ddmm.mmmm", decimals = 6 },
  { name = "north", sign_of = "latitude_deg" },
  { name = "longitude_deg", unit = "ddmm.mmmm", decimals = 6 },
  { name = "east", sign_of = "longitude_deg" },
  { name = "gps_fix" },
  { name = "satellites" },
  { name = "hdop" },
  { name = "gps_altitude_m", unit = "m" },
]`

const rmcLayout = `
[[layout]]
name = "rmc"
framing = "line"
form = "nmea"
sentence = "RMC"
talker = "GP"
more = true
fields = [
  { name = "utc_s", unit = "hhmmss" },
  { name = "status", only = "A", ignore = true },
  { name = "latitude_deg", unit = "ddmm.mmmm" },
  { name = "north", sign_of = "latitude_deg" },
  { name = "longitude_deg", unit = "ddmm.mmmm" },
  { name = "east", sign_of = "longitude_deg" },
  { name = "ground_mps", unit = "kn" },
]`

// TestNMEASentences holds sentences that are known from outside. The first
// GGA is in many NMEA 0183 descriptions (secondary source), its RMC twin from
// memory; the others are lines of a real receiver in a public NOAA PSL ship
// log (PISTON 2019).
func TestNMEASentences(t *testing.T) {
	for _, c := range []struct {
		line string
		want map[string]float64
	}{
		{"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47", map[string]float64{
			"utc_s": 45319, "latitude_deg": 48.1173, "longitude_deg": 11.5166666667, "gps_fix": 1, "satellites": 8, "hdop": 0.9, "gps_altitude_m": 545.4}},
		{"$GPGGA,195959.00,1813.38282955,N,12606.12767097,E,2,07,1.4,17.2,M,36.5,M,4.0,0129*78", map[string]float64{
			"utc_s": 71999, "latitude_deg": 18.2230471592, "longitude_deg": 126.1021278495, "gps_fix": 2, "satellites": 7, "hdop": 1.4, "gps_altitude_m": 17.2}},
		{"$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A", map[string]float64{
			"utc_s": 45319, "latitude_deg": 48.1173, "longitude_deg": 11.5166666667, "ground_mps": 11.5235555556}},
		{"$GPRMC,195959.00,A,1813.38282955,N,12606.12767097,E,1.31,262.13,160919,3.0,W,D*21", map[string]float64{
			"utc_s": 71999, "latitude_deg": 18.2230471592, "longitude_deg": 126.1021278495, "ground_mps": 0.6739222222}},
	} {
		s := decodeOne(t, station(t, ggaLayout+rmcLayout, "gps", "rmc"), []byte(c.line))
		if d := cmp.Diff(c.want, values(s), cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) < 1e-9 })); d != "" {
			t.Errorf("%s (-want +got):\n%s", c.line, d)
		}
	}
}

// TestNMEAOtherSentences shows that intact sentences of others are not ours,
// while a damaged one is corrupt whoever sent it.
func TestNMEAOtherSentences(t *testing.T) {
	d := station(t, ggaLayout+rmcLayout, "lark-text", "gps", "rmc")
	for _, line := range []string{
		// NOAA PSL ship log, as above.
		"$GPZDA,195959.00,16,09,2019,00,00*6A", "$GPHDT,228.02,T*0F", "$GPVTG,262.13,T,265.08,M,1.31,N,2.43,K,D*2D",
		"Altimeter 1.2 ready", "", "$", "$GPTXT,no checksum,and not ours",
	} {
		if r := rejectOf(t, d, []byte(line)); r.Kind != Unknown {
			t.Errorf("%q: %v, want unknown", line, r)
		}
	}
	for _, line := range []string{
		"$GPZDA,195959.00,16,09,2018,00,00*6A", "$GPHDT,228.02,T*0E", "$GPHDT,228.02,T*0", "$GPHDT,228.02,T*GG",
		"$PLRK,7,3,412,20650,100129.4,2150,4012,1100,2",
	} {
		if r := rejectOf(t, d, []byte(line)); r.Kind != Corrupt || r.Reason != ReasonChecksum {
			t.Errorf("%q: %v, want corrupt by checksum", line, r)
		}
	}
}

const ax25Layout = `
[[layout]]
name = "tnc"
framing = "kiss"
form = "ax25"
sources = { "N0CALL-11" = 7, "VK4TEC" = 9 }
inner = "status"
[[layout]]
name = "status"
form = "delimited"
prefix = ">"
fields = [ { name = "word", only = ["TEST", "READY"], ignore = true } ]
[[layout]]
name = "any"
framing = "kiss"
form = "ax25"
inner = "line"
rocket = 4
[[layout]]
name = "line"
form = "delimited"
fields = [ { name = "word", ignore = true } ]
[[layout]]
name = "hdlc"
framing = "slip"
form = "ax25"
checksum = "CRC-16/IBM-SDLC"
sources = { "N0CALL-11" = 7 }
inner = "status"
`

// TestAX25Frames holds whole frames. The first is a real one that was taken
// apart bit by bit in a message to the APRS SIG list in 2004; the second is
// derived from the AX.25 v2.2 address rules, its FCS from CRC-16/IBM-SDLC.
func TestAX25Frames(t *testing.T) {
	real := unhex(t, "82A0AA646A9C60 AC9668A88A8660 A48A9882B24060 AE92888A404061 03 F0 0D")
	derived := unhex(t, "82A0A4A64040E0 9C608682989877 03F0 3E54455354")
	if got := readCallsign(real[7:14]).String(); got != "VK4TEC" {
		t.Errorf("source %s, want VK4TEC", got)
	}
	if got := readCallsign(real[:7]).String(); got != "APU25N" {
		t.Errorf("destination %s, want APU25N", got)
	}
	// Via RELAY and WIDE; the information is a carriage return alone.
	if s := decodeOne(t, station(t, ax25Layout, "any"), real); s.Rocket != "id-4" {
		t.Errorf("rocket %s", s.Rocket)
	}
	if s := decodeOne(t, station(t, ax25Layout, "tnc"), derived); s.Rocket != "id-7" {
		t.Errorf("rocket %s, want id-7", s.Rocket)
	}
	if s := decodeOne(t, station(t, ax25Layout, "hdlc"), append(derived, 0xEE, 0x1A)); s.Rocket != "id-7" {
		t.Errorf("rocket %s, want id-7", s.Rocket)
	}
	s, _ := findSum("CRC-16/IBM-SDLC")
	if got := s.calc(real); got != 0xDA8C {
		t.Errorf("FCS of the real frame %04X, want DA8C (derived)", got)
	}
	// The specification's own example of addresses, NJ7P and N7LEM (from memory).
	for _, c := range []struct{ call, hex string }{{"NJ7P", "9C946EA040400 0"}, {"N7LEM", "9C6E988A9A400 0"}} {
		got, err := parseCallsign(c.call)
		if err != nil || hex.EncodeToString(got[:]) != strings.ToLower(strings.ReplaceAll(c.hex, " ", "")) {
			t.Errorf("%s is %X, %v", c.call, got, err)
		}
	}
}

func TestAX25Rejects(t *testing.T) {
	d := station(t, ax25Layout, "tnc")
	good := unhex(t, "82A0A4A64040E0 9C608682989877 03F0 3E54455354")
	edit := func(at int, b byte) []byte {
		out := append([]byte(nil), good...)
		out[at] = b
		return out
	}
	for _, c := range []struct {
		name   string
		b      []byte
		kind   RejectKind
		offset int
	}{
		{"other source", edit(7, 'M'<<1), Unknown, 7},
		{"other SSID", edit(13, 0x75), Unknown, 7},
		{"not UI", edit(14, 0x3f), Unknown, 14},
		{"other PID", edit(15, 0xcf), Unknown, 14},
		{"bad character", edit(3, 0x03), Corrupt, 3},
		{"odd character", edit(9, 0x87), Corrupt, 9},
		{"no source", edit(6, 0xe1), Corrupt, 6},
		{"no end of addresses", good[:13], Corrupt, 13},
		{"ends in header", good[:15], Corrupt, 15},
		{"inner not ours", edit(16, '<'), Unknown, 16},
		{"eleven addresses", []byte(strings.Repeat(string(unhex(t, "82A0A4A6404060")), 12)), Corrupt, 69},
		{"empty", nil, Corrupt, 0},
	} {
		if r := rejectOf(t, d, c.b); r.Kind != c.kind || r.Offset != c.offset {
			t.Errorf("%s: %v, want %s at byte %d", c.name, r, c.kind, c.offset)
		}
	}
}

const packetLayout = `
[[layout]]
name = "packet"
framing = "datagram"
form = "spacepacket"
apid = [0x123, 5]
rocket_from = "apid"
inner = "four"
[[layout]]
name = "four"
form = "binary"
endian = "big"
fields = [ { name = "word", type = "u32" } ]
[[layout]]
name = "checked"
framing = "datagram"
form = "spacepacket"
apid = [5]
rocket = 5
secondary_header = 2
checksum = "CRC-16/IBM-3740"
inner = "four"
`

// TestSpacePackets checks against CCSDS 133.0-B-2 (layout from a secondary
// source; the bytes of the first are derived from it).
func TestSpacePackets(t *testing.T) {
	d := station(t, packetLayout, "packet")
	s := decodeOne(t, d, unhex(t, "0123 C02A 0003 01020304"))
	diff(t, "sample", []any{"id-291", int64(42), map[string]float64{"word": 0x01020304}}, []any{s.Rocket, s.Seq, values(s)})
	for _, c := range []struct {
		name, hex string
		kind      RejectKind
	}{
		// The inputs of the first are a library's example; bytes computed.
		{"command", "1810 C001 0003 01020304", Unknown},
		{"command with secondary header", "1FFE FFFF 0000 AA", Unknown},
		{"idle", "07FF C000 0000 00", Unknown},
		{"other APID", "0124 C02A 0003 01020304", Unknown},
		{"segment", "0123 402A 0003 01020304", Unknown},
		{"version", "2123 C02A 0003 01020304", Unknown},
		{"length", "0123 C02A 0004 01020304", Corrupt},
		{"short", "0123 C02A 00", Corrupt},
		{"inner length", "0123 C02A 0002 010203", Corrupt},
	} {
		if r := rejectOf(t, d, unhex(t, c.hex)); r.Kind != c.kind {
			t.Errorf("%s: %v, want %s", c.name, r, c.kind)
		}
	}
}

// TestSpacePacketCountWraps follows the 14-bit count from 16383 to 0.
func TestSpacePacketCountWraps(t *testing.T) {
	d := station(t, packetLayout, "checked")
	p := compile(t, packetLayout[strings.Index(packetLayout, "[[layout]]\nname = \"checked\""):]+packetLayout)
	for i := range int64(5) {
		b, err := p.Encode(nil, Message{Rocket: 5, Seq: 16381 + i, Values: map[string]float64{"word": 1}})
		if err != nil {
			t.Fatal(err)
		}
		s, err := d.Decode(frame("pad", int(i), time.Duration(i)*time.Second, b))
		if err != nil || s.Seq != 16381+i || d.gap != 0 {
			t.Errorf("seq %d, gap %d, %v; want %d", s.Seq, d.gap, err, 16381+i)
		}
	}
}
