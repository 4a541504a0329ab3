package decode

import (
	"math"
	"strings"
	"testing"
	"time"
)

const mixedLayout = `
[[layout]]
name = "typed"
framing = "cobs"
form = "binary"
checksum = "CRC-16/XMODEM"
fields = [
  { name = "kind", type = "u8", only = [2, 3], ignore = true },
  { name = "pressure_pa", type = "u16", unit = "hPa", scale = 0.1, min = 30000, max = 110000 },
  { name = "cell_v", type = "u8", unit = "mV", scale = 20, missing = [0, 255] },
]
[[layout]]
name = "bare"
framing = "cobs"
form = "binary"
fields = [
  { name = "kind", type = "u8", only = 2, ignore = true },
  { name = "pressure_pa", type = "u16", unit = "hPa", scale = 0.1, min = 30000, max = 110000 },
]
[[layout]]
name = "words"
framing = "line"
form = "delimited"
prefix = "T:"
separator = ";"
fields = [
  { name = "state", only = ["PAD", "FLY"], ignore = true },
  { name = "pressure_pa", unit = "hPa", min = 30000, max = 110000, missing = ["--", -1] },
  { name = "temperature_c", poly = [-10, 0.5, 0.25] },
  { name = "note", ignore = true },
]
`

// TestThreeOutcomes keeps corrupt and unknown apart, and says where.
func TestThreeOutcomes(t *testing.T) {
	crc, _ := findSum("CRC-16/XMODEM")
	sealed := func(hex string) []byte {
		b := unhex(t, hex)
		s := crc.calc(b)
		return append(b, byte(s), byte(s>>8))
	}
	for _, c := range []struct {
		name, layout string
		b            []byte
		kind         RejectKind
		reason       string
		field        string
		offset       int
	}{
		{"intact, other kind", "typed", sealed("09 1027 64"), Unknown, ReasonNotOurs, "kind", 0},
		{"intact, other length", "typed", sealed("02 1027 64 00"), Unknown, ReasonLength, "", 6},
		{"damaged", "typed", append(sealed("02 1027 64")[:5], 0), Corrupt, ReasonChecksum, "", 4},
		{"too short for a checksum", "typed", []byte{2}, Corrupt, ReasonLength, "", 1},
		{"empty", "typed", nil, Corrupt, ReasonLength, "", 0},
		{"bare, other kind", "bare", unhex(t, "03 1027"), Unknown, ReasonNotOurs, "kind", 0},
		{"bare, cut short", "bare", unhex(t, "02 10"), Corrupt, ReasonLength, "", 2},
		{"bare, out of range", "bare", unhex(t, "02 0000"), Corrupt, ReasonRange, "pressure_pa", -1},
		{"other line", "words", []byte("X:PAD;1000;1;"), Unknown, ReasonNotOurs, "", 0},
		{"other state", "words", []byte("T:LOG;1000;1;"), Unknown, ReasonNotOurs, "state", 2},
		{"few fields", "words", []byte("T:PAD;1000"), Corrupt, ReasonFieldCount, "", 10},
		{"many fields", "words", []byte("T:PAD;1000;1;x;y"), Corrupt, ReasonFieldCount, "", 16},
		{"no number", "words", []byte("T:PAD;10O0;1;"), Corrupt, ReasonNumber, "pressure_pa", 6},
		{"out of range", "words", []byte("T:PAD;100;1;"), Corrupt, ReasonRange, "pressure_pa", -1},
	} {
		r := rejectOf(t, station(t, mixedLayout, c.layout), c.b)
		if r.Kind != c.kind || r.Reason != c.reason || r.Field != c.field || r.Offset != c.offset {
			t.Errorf("%s: %v; want %s, %s, field %q, byte %d", c.name, r, c.kind, c.reason, c.field, c.offset)
		}
		if r.Detail == "" || !strings.Contains(r.Error(), c.layout) {
			t.Errorf("%s: %v says too little", c.name, r)
		}
	}
}

// TestBrief says in few words what was wrong, for people who see the bytes beside it.
func TestBrief(t *testing.T) {
	p := station(t, mixedLayout, "words")
	for line, want := range map[string]string{
		"T:PAD;1000":         "2 fields where the layout has 4",
		"T:PAD;1000;1;x;y;z": "6 fields where the layout has 4",
		"T:PAD;10O0;1;":      `field pressure_pa is no number: "10O0"`,
		"X:PAD;1000;1;":      "",
	} {
		if got := rejectOf(t, p, []byte(line)).Brief(); got != want {
			t.Errorf("%s: %q, want %q", line, got, want)
		}
	}
}

// TestMarkers shows missing values and calibration.
func TestMarkers(t *testing.T) {
	nan := math.NaN()
	crc, _ := findSum("CRC-16/XMODEM")
	b := unhex(t, "02 0000 FF") // out of range, but the frame is intact
	sum := crc.calc(b)
	s := decodeOne(t, station(t, mixedLayout, "typed"), append(b, byte(sum), byte(sum>>8)))
	diff(t, "sealed", map[string]float64{"pressure_pa": nan, "cell_v": nan}, values(s))
	for line, want := range map[string]map[string]float64{
		"T:PAD;--;4;":          {"pressure_pa": nan, "temperature_c": -10 + 0.5*4 + 0.25*16},
		"T:FLY;-1;nan;x":       {"pressure_pa": nan, "temperature_c": nan},
		"T:PAD; 1000.5 ;;héé,": {"pressure_pa": 100050, "temperature_c": nan},
		"T:PAD;+1.0005e3;0;":   {"pressure_pa": 100050, "temperature_c": -10},
	} {
		diff(t, line, want, values(decodeOne(t, station(t, mixedLayout, "words"), []byte(line))))
	}
}

// TestNumbers shows what counts as a number in text.
func TestNumbers(t *testing.T) {
	for in, want := range map[string]float64{
		"0": 0, "007": 7, "-3": -3, "+3": 3, "1e3": 1000, ".5": 0.5, "5.": 5, "999999999999999": 999999999999999,
		"1234567890123456789": 1234567890123456789, "1E-2": 0.01,
	} {
		if got, ok := parseDecimal([]byte(in), false); !ok || got != want {
			t.Errorf("%q is %v, %v; want %v", in, got, ok, want)
		}
	}
	for _, in := range []string{"", "-", "1_0", "0x10", "inf", "1e", "1-2", "--1", "1 2", "1,5", "nan", "1e999", strings.Repeat("1", 41)} {
		if got, ok := parseDecimal([]byte(in), false); ok {
			t.Errorf("%q was read as %v", in, got)
		}
	}
}

// TestSeveralLayouts: the first layout that knows a frame decodes it, and a
// corrupt frame stays corrupt though another layout does not know it.
func TestSeveralLayouts(t *testing.T) {
	d := station(t, ggaLayout, "gps", "lark-text")
	s := decodeOne(t, d, []byte("$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47"))
	if s.Rocket != "Teal" || s.At != s.Heard {
		t.Errorf("%s at %v heard %v", s.Rocket, s.At, s.Heard)
	}
	if r := rejectOf(t, d, []byte("$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*48")); r.Kind != Corrupt {
		t.Errorf("%v", r)
	}
}

// TestSampleKeepsNothing shows that the sample does not refer to the frame's
// bytes, nor two samples to each other's values.
func TestSampleKeepsNothing(t *testing.T) {
	d := station(t, "", "lark-bin")
	b := &board{p: builtin(t, "lark-bin"), rocket: 7, boot: 1}
	f := b.say(t, "pad", 1, 0, 0)
	one, _ := d.Decode(f)
	before := values(one)
	clear(f.Bytes)
	if _, err := d.Decode(b.say(t, "pad", 2, time.Second, 0)); err != nil {
		t.Fatal(err)
	}
	diff(t, "values", before, values(one))
}
