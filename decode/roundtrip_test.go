package decode

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"padlark/ingest"
)

// drawn is a layout drawn at random, with what each field can hold.
type drawn struct {
	layout Layout
	inner  []Layout
	step   map[string]float64 // how exact each channel is
	lo, hi map[string]float64
}

// quantities are channels and units to draw from.
func quantities() [][]string {
	return [][]string{
		{"pressure_pa", "Pa", "hPa", "kPa", "mbar", "inHg", "psi", "dPa", "cPa"},
		{"temperature_c", "degC", "degF", "K", "cdegC"},
		{"altitude_m", "m", "ft", "cm"},
		{"velocity_mps", "m/s", "kn", "km/h"},
		{"accel_mps2", "m/s2", "g", "mg"},
		{"cell_v", "V", "mV"},
		{"release_us", "us", "ms", "s"},
		{"heading_deg", "deg", "rad"},
		{"level_dbm", ""},
		{"count", ""},
	}
}

// drawField draws one channel: unit, calibration, and (binary) type.
func drawField(t *rapid.T, q []string, binary bool) (Field, float64, float64, float64) {
	f := Field{Name: q[0], Unit: rapid.SampledFrom(q[1:]).Draw(t, "unit")}
	if len(q) == 2 {
		f.Unit = ""
	}
	rawLo, rawHi, rawStep := -1e5, 1e5, 0.5
	if binary {
		f.Type = rapid.SampledFrom([]string{"u8", "u16", "u24", "u32", "u64", "i8", "i16", "i24", "i32", "i64", "f32", "f64"}).Draw(t, "type")
		f.Endian = rapid.SampledFrom([]string{"", "little", "big"}).Draw(t, "endian")
		size, kind, _ := binaryType(f.Type)
		width := min(8*size, 40) // beyond that a float is not exact
		switch kind {
		case kindUnsigned:
			rawLo, rawHi = 0, math.Ldexp(1, width)-2
			f.Missing = int64(math.Ldexp(1, width) - 1)
			if rapid.Bool().Draw(t, "piece") && size > 1 {
				f.Bit = rapid.IntRange(0, 7).Draw(t, "bit")
				f.Bits = rapid.IntRange(2, 8*size-8).Draw(t, "bits")
				f.Bits = min(f.Bits, 40)
				rawHi = math.Ldexp(1, f.Bits) - 2
				f.Missing = int64(rawHi + 1)
			}
		case kindSigned:
			rawLo, rawHi = 1-math.Ldexp(1, width-1), math.Ldexp(1, width-1)-1
			f.Missing = -int64(math.Ldexp(1, width-1))
		default:
			rawStep = 0.02
		}
	} else {
		f.Decimals = rapid.IntRange(0, 6).Draw(t, "decimals")
		rawStep = 0.5 / math.Pow10(f.Decimals)
	}
	switch rapid.IntRange(0, 2).Draw(t, "calibration") {
	case 1:
		f.Scale = rapid.SampledFrom([]float64{0.01, -2, 1.5, 1000}).Draw(t, "scale")
		f.Offset = rapid.Float64Range(-100, 100).Draw(t, "offset")
	case 2:
		// Rising over the whole range, so that it can be undone.
		f.Poly = []float64{rapid.Float64Range(-10, 10).Draw(t, "c0"), 2, 0, 1e-12}
		rawLo, rawHi = math.Max(rawLo, -1e5), math.Min(rawHi, 1e5)
	}
	conv, err := conversionFor(f.Name, f.Unit)
	if err != nil {
		t.Fatal(err)
	}
	g := field{scale: 1, offset: f.Offset, poly: f.Poly, conv: conv}
	if f.Scale != 0 {
		g.scale = f.Scale
	}
	a, b := g.calibrate(rawLo), g.calibrate(rawHi)
	step := math.Abs(g.calibrate(rawLo+rawStep)-a) + math.Abs(b-g.calibrate(rawHi-rawStep))
	return f, step, math.Min(a, b), math.Max(a, b)
}

func drawLayout(t *rapid.T, form string) drawn {
	d := drawn{layout: Layout{Name: "drawn", Form: form}, step: map[string]float64{}, lo: map[string]float64{}, hi: map[string]float64{}}
	l := &d.layout
	binary := form == Binary
	kinds := append([]string{""}, ChecksumNames()...)
	l.Checksum.Kind = rapid.SampledFrom(kinds).Draw(t, "checksum")
	switch form {
	case Delimited:
		l.Framing = ingest.Framing{Kind: ingest.FramingLine}
		l.Separator = rapid.SampledFrom([]string{"", ";", "space", "\t", " | "}).Draw(t, "separator")
		l.Prefix = rapid.SampledFrom([]string{"", "T,", "#T"}).Draw(t, "prefix")
	case NMEA:
		l.Framing = ingest.Framing{Kind: ingest.FramingLine}
		l.Address = "PTEAL"
	case Binary:
		l.Framing = ingest.Framing{Kind: ingest.FramingCOBS}
		l.Endian = rapid.SampledFrom([]string{"little", "big"}).Draw(t, "order")
	}
	counters := []Field{{Name: FieldRocket}, {Name: FieldBoot, WrapAt: 200}, {Name: FieldSeq, WrapAt: 250}, {Name: FieldClock, Unit: "ms"}}
	if binary {
		for i, typ := range []string{"u8", "u16", "u8", "u32"} {
			counters[i].Type = typ
		}
		if rapid.Bool().Draw(t, "padded") {
			l.Fields = append(l.Fields, Field{Type: "skip", Size: 3})
		}
	}
	l.Fields = append(l.Fields, counters...)
	for _, q := range quantities() {
		if !rapid.Bool().Draw(t, "has "+q[0]) {
			continue
		}
		f, step, lo, hi := drawField(t, q, binary)
		d.step[f.Name], d.lo[f.Name], d.hi[f.Name] = step, lo, hi
		l.Fields = append(l.Fields, f)
	}
	flags := Field{Name: "flags", Flags: map[string]int{"release_on": 0, "armed": 3}}
	if binary {
		flags.Type = "u8"
		if rapid.Bool().Draw(t, "one byte with others") {
			flags.Bits = 4
			l.Fields = append(l.Fields, flags)
			flags = Field{Name: "mode", Type: "u8", Overlay: true, Bit: 4, Bits: 4, Missing: int64(15)}
			d.step["mode"], d.lo["mode"], d.hi["mode"] = 0.5, 0, 14
		}
	} else if rapid.Bool().Draw(t, "hex flags") {
		flags.Type = "hex"
	}
	l.Fields = append(l.Fields, flags)
	return d
}

// drawOuter puts a drawn layout inside another frame.
func drawOuter(t *rapid.T, d drawn) drawn {
	inner := d.layout
	inner.Name = "inside"
	inner.Framing = ingest.Framing{}
	l := Layout{Name: "drawn", Inner: "inside", Framing: ingest.Framing{Kind: ingest.FramingSLIP}}
	if rapid.Bool().Draw(t, "ax25") {
		l.Form, l.Sources = AX25, map[string]uint32{"N0CALL-1": 1, "N0CALL-2": 2}
		l.Destination = "PADLRK"
	} else {
		l.Form, l.APID = SpacePacket, []int{77}
		l.SecondaryHeader = rapid.IntRange(0, 6).Draw(t, "secondary header")
	}
	l.Checksum.Kind = rapid.SampledFrom([]string{"", "CRC-16/IBM-SDLC", "CRC-32/ISCSI"}).Draw(t, "outer checksum")
	d.layout, d.inner = l, []Layout{inner}
	return d
}

// TestRoundTrip encodes a drawn message by a drawn layout and decodes it.
func TestRoundTrip(t *testing.T) {
	for _, form := range []string{Delimited, NMEA, Binary, "outer " + Delimited, "outer " + Binary} {
		t.Run(form, func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				inner, outer := strings.CutPrefix(form, "outer ")
				d := drawLayout(t, inner)
				if outer {
					d = drawOuter(t, d)
				}
				roundTrip(t, d)
			})
		})
	}
}

func roundTrip(t *rapid.T, d drawn) {
	p, err := Compile(d.layout, d.inner)
	if err != nil {
		t.Fatalf("compile: %v", err)
	}
	dec, err := New(Config{Layouts: append(d.inner, d.layout), Links: []LinkLayouts{{Link: "pad", Layouts: []string{"drawn"}}}})
	if err != nil {
		t.Fatalf("new: %v", err)
	}
	m := Message{
		Rocket: uint32(rapid.IntRange(0, 255).Draw(t, "rocket")), Boot: uint32(rapid.IntRange(0, 199).Draw(t, "boot")),
		Seq: int64(rapid.IntRange(0, 249).Draw(t, "seq")), Clock: 1000 * int64(rapid.Uint32().Draw(t, "clock")), Values: map[string]float64{},
	}
	want := map[string]float64{"release_on": 0, "armed": 0}
	for _, n := range p.Channels() {
		if _, flag := want[n]; flag {
			m.Values[n] = float64(rapid.IntRange(0, 1).Draw(t, n))
			want[n] = m.Values[n]
			continue
		}
		want[n] = math.NaN()
		if rapid.IntRange(0, 4).Draw(t, "has "+n) > 0 {
			m.Values[n] = d.lo[n] + (d.hi[n]-d.lo[n])*rapid.Float64Range(0, 1).Draw(t, n)
			want[n] = m.Values[n]
		}
	}
	b, err := p.Encode([]byte("before"), m)
	if err != nil {
		t.Fatalf("encode: %v", err)
	}
	b = b[len("before"):]
	s, err := dec.Decode(frame("pad", 1, time.Second, b))
	if err != nil {
		t.Fatalf("decode %q: %v", b, err)
	}
	if s.Rocket != fmt.Sprintf("id-%d", m.Rocket) || s.Boot != m.Boot || s.Seq != m.Seq || s.Clock != m.Clock {
		t.Fatalf("%q: rocket %s boot %d seq %d clock %d, want %+v", b, s.Rocket, s.Boot, s.Seq, s.Clock, m)
	}
	for n, w := range want {
		got, ok := s.Values.Get(n)
		slack := d.step[n]*1.01 + 1e-6*math.Abs(w) + 1e-9
		switch m := meaningOf(n); {
		case w < m.lo-slack, w > m.hi+slack: // no such thing: refused, and said
			if said := dec.refused.field != ""; ok || !said {
				t.Fatalf("%q: %s = %v, which it cannot mean; said: %v", b, n, got, said)
			}
			continue
		case w < m.lo+slack && !ok, w > m.hi-slack && !ok: // on the edge: either
			continue
		}
		if math.IsNaN(w) != !ok || ok && math.Abs(got-w) > slack {
			t.Fatalf("%q: %s = %v, want %v ± %v", b, n, got, w, slack)
		}
	}
	damaged(t, p, dec, b)
}

// damaged shows that with a checksum no single wrong bit gives a sample.
func damaged(t *rapid.T, p *Program, dec *Decoder, b []byte) {
	if !p.guarded() || p.check == nil {
		return
	}
	at := rapid.IntRange(0, 8*len(b)-1).Draw(t, "wrong bit")
	bad := append([]byte(nil), b...)
	bad[at/8] ^= 1 << (at % 8)
	s, err := dec.Decode(frame("pad", 2, time.Second, bad))
	if err == nil && !sameText(p, b, bad) {
		t.Fatalf("bit %d of %q is wrong, and yet %+v", at, b, s)
	}
}

// sameText says whether two lines differ only in the case of their checksum's
// digits, or in a prefix that the checksum of nmea does not cover ("$", "!").
func sameText(p *Program, a, b []byte) bool {
	if p.form != formDelimited && p.form != formNMEA {
		return false
	}
	n := len(a) - 2*p.check.sum.bytes
	x, ok := parseHex(a[n:])
	y, ok2 := parseHex(b[n:])
	return ok && ok2 && x == y
}

// TestNMEAPositionRoundTrip draws positions over the whole earth.
func TestNMEAPositionRoundTrip(t *testing.T) {
	d := station(t, ggaLayout, "gps")
	p := compile(t, ggaLayout)
	rapid.Check(t, func(t *rapid.T) {
		lat := rapid.Float64Range(-90, 90).Draw(t, "lat")
		lon := rapid.Float64Range(-180, 180).Draw(t, "lon")
		utc := float64(rapid.IntRange(0, 86399).Draw(t, "utc"))
		b, err := p.Encode(nil, Message{Values: map[string]float64{"latitude_deg": lat, "longitude_deg": lon, "utc_s": utc}})
		if err != nil {
			t.Fatal(err)
		}
		s, err := d.Decode(frame("pad", 1, time.Second, b))
		if err != nil {
			t.Fatal(err)
		}
		v := values(s)
		if math.Abs(v["latitude_deg"]-lat) > 1e-8 || math.Abs(v["longitude_deg"]-lon) > 1e-8 || v["utc_s"] != utc {
			t.Fatalf("%q: %v, want %v %v %v", b, v, lat, lon, utc)
		}
	})
}

// TestBarometerRoundTrip encodes pressure and temperature as raw counts of
// each board's own sensor.
func TestBarometerRoundTrip(t *testing.T) {
	d := station(t, rawLayout, "raw")
	p := compile(t, rawLayout)
	for _, rocket := range []uint32{7, 9} {
		b, err := p.Encode(nil, Message{Rocket: rocket, Values: map[string]float64{PressurePa: 98765.4, TemperatureC: 17.25}})
		if err != nil {
			t.Fatal(err)
		}
		s, err := d.Decode(frame("pad", 1, time.Second, b))
		if err != nil {
			t.Fatal(err)
		}
		v := values(s)
		near(t, "pressure in Pa", v[PressurePa], 98765.4, 0.1)
		near(t, "temperature in degC", v[TemperatureC], 17.25, 0.01)
		if _, kept := v["raw_temperature"]; kept {
			t.Error("raw_temperature is a channel although ignored")
		}
		if raw := v["raw_pressure"]; raw < 1e5 {
			t.Errorf("raw_pressure = %v", raw)
		}
	}
	b, _ := p.Encode(nil, Message{Rocket: 11, Values: map[string]float64{"raw_pressure": 1, "raw_temperature": 1}})
	if r := rejectOf(t, d, b); r.Kind != Unknown || r.Reason != ReasonNoWords {
		t.Errorf("a board without words: %v", r)
	}
}

const rawLayout = `
[[layout]]
name = "raw"
framing = { kind = "sync", sync = "A5 5A", size = 9 }
form = "binary"
endian = "big"
checksum = { kind = "Fletcher-16", endian = "big" }
fields = [
  { name = "rocket", type = "u8" },
  { name = "raw_pressure", type = "u24" },
  { name = "raw_temperature", type = "u24", ignore = true },
]
[layout.barometer]
sensor = "ms5607"
pressure = "raw_pressure"
temperature = "raw_temperature"
[[layout.barometer.boards]]
rocket = 7
words = { C1 = 46372, C2 = 43981, C3 = 29059, C4 = 27842, C5 = 31553, C6 = 28165 }
[[layout.barometer.boards]]
rocket = 9
words = { C1 = 46372, C2 = 43000, C3 = 29059, C4 = 27842, C5 = 31000, C6 = 28165 }
`
