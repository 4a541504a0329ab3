package decode

import (
	"bytes"
	"encoding/binary"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"padlark/ingest"
)

// TestTimeCodes: times of CCSDS 301.0-B-4 by their definitions (sections 3.2 and
// 3.3; from memory), the days by Go's calendar.
func TestTimeCodes(t *testing.T) {
	days := time.Date(2026, 5, 9, 0, 0, 0, 0, time.UTC).Sub(time.Date(1958, 1, 1, 0, 0, 0, 0, time.UTC)).Hours() / 24
	day := binary.BigEndian.AppendUint16(nil, uint16(days))
	for _, c := range []struct {
		kind string
		b    []byte
		want float64
	}{
		{"cuc4.0", []byte{0, 1, 0, 0}, 65536},
		{"cuc4.1", []byte{0, 0, 0, 10, 0x80}, 10.5},
		{"cuc4.2", []byte{0, 0, 0, 10, 0x00, 0x01}, 10 + 1.0/65536},
		{"cuc1.3", []byte{2, 0x40, 0, 0}, 2.25},
		{"cds", append(bytes.Clone(day), 0x02, 0x25, 0x51, 0x00), days*86400 + 36000},
		{"cds-us", append(bytes.Clone(day), 0x02, 0x25, 0x51, 0x00, 0x01, 0xf4), days*86400 + 36000.0005},
		{"cds24", append([]byte{0}, append(bytes.Clone(day), 0x02, 0x25, 0x51, 0x01)...), days*86400 + 36000.001},
		{"cds", append(bytes.Clone(day), 0xff, 0xff, 0xff, 0xff), math.NaN()},
	} {
		p := compile(t, "[[layout]]\nname = \"t\"\nform = \"binary\"\nfields = [ { name = \"clock\", type = \""+c.kind+"\" } ]")
		sc, m := newScratch(p), ident{}
		r := p.parse(c.b, 0, sc, &m)
		if got := sc.raw[0]; math.Abs(got-c.want) > 1e-6 || math.IsNaN(got) != math.IsNaN(c.want) || (r != nil) != math.IsNaN(c.want) && !math.IsNaN(got) {
			t.Errorf("%s of % x is %f (%v), want %f", c.kind, c.b, got, r, c.want)
		}
	}
	for _, bad := range []string{"cuc0.2", "cuc5.0", "cuc4.5", "cuc", "cds-ns", "cds32"} {
		ls := layouts(t, "[[layout]]\nname = \"t\"\nform = \"binary\"\nfields = [ { name = \"clock\", type = \""+bad+"\" } ]")
		if _, err := Compile(ls[0], ls); err == nil || !strings.Contains(err.Error(), "a time such as cuc4.2") {
			t.Errorf("%s: %v", bad, err)
		}
	}
}

// TestTimeCodesComeBack: what is written is read, to half a unit.
func TestTimeCodesComeBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		kind := rapid.SampledFrom([]string{"cuc4.0", "cuc4.2", "cuc4.4", "cuc3.1", "cds", "cds-us", "cds-ps", "cds24", "cds24-us"}).Draw(t, "type")
		p, err := Compile(Layout{Name: "t", Form: Binary, Fields: []Field{{Name: FieldClock, Type: kind}}}, nil)
		if err != nil {
			t.Fatal(err)
		}
		us := rapid.Int64Range(0, 16e12).Draw(t, "us")
		b, err := p.Encode(nil, Message{Clock: us})
		if err != nil {
			t.Fatal(err)
		}
		sc, m := newScratch(p), ident{}
		if r := p.parse(b, 0, sc, &m); r != nil {
			t.Fatal(r)
		}
		step := map[string]float64{"cuc4.0": 1, "cuc3.1": 1.0 / 256, "cuc4.2": 1.0 / 65536, "cds": 1e-3, "cds24": 1e-3}[kind]
		if got := m.clock * 1e6; math.Abs(got-float64(us)) > step*1e6/2+2 {
			t.Fatalf("%s: %d us come back as %.1f", kind, us, got)
		}
	})
}

const streamLayout = `[[layout]]
name = "stream"
framing = { kind = "sync", sync = "1A CF FC 1D", length_at = 4, length_bytes = 2, length_endian = "big", length_add = 1 }
form = "spacepacket"
checksum = "CRC-16/IBM-3740"
apid = [291]
rocket_from = "apid"
inner = "housekeeping"
[[layout]]
name = "housekeeping"
form = "binary"
endian = "big"
fields = [ { name = "preamble", type = "u8", only = 0x1e, ignore = true }, { name = "clock", type = "cuc4.2" }, { name = "pressure_pa", type = "u32" } ]`

// TestPacketStream: packets (CCSDS 133.0-B) one after another behind the
// synchronisation marker of CCSDS 131.0-B, with the CRC that such packets have
// (poly 0x1021, preset to ones) and a CUC time in front of their data, between
// noise; and the same packets as datagrams.
func TestPacketStream(t *testing.T) {
	d := station(t, streamLayout, "stream")
	p := d.links["pad"].programs[0]
	var stream []byte
	var packets [][]byte
	for i := range 20 {
		b, err := p.Encode(nil, Message{Rocket: 291, Seq: int64(16380 + i), Clock: int64(i) * 250e3, Values: map[string]float64{PressurePa: 101325 - 100*float64(i)}})
		if err != nil {
			t.Fatal(err)
		}
		packets = append(packets, b)
		stream = append(stream, 0x1a, 0xcf, byte(i), 0xfc) // noise that begins as a marker does
		stream = append(append(stream, 0x1a, 0xcf, 0xfc, 0x1d), b...)
	}
	f, err := ingest.NewFramer(p.Layout().Framing, 1024)
	if err != nil {
		t.Fatal(err)
	}
	got := &messages{}
	for len(stream) > 0 { // as a port hands them over
		n := min(7, len(stream))
		if err := f.Push(stream[:n], got); err != nil {
			t.Fatal(err)
		}
		stream = stream[n:]
	}
	if len(got.all) != len(packets) {
		t.Fatalf("%d packets of %d", len(got.all), len(packets))
	}
	for i, b := range got.all {
		s, err := d.Decode(frame("pad", i, time.Duration(i)*250*time.Millisecond, b))
		if err != nil {
			t.Fatal(err)
		}
		v, _ := s.Values.Get(PressurePa)
		if s.Rocket != "id-291" || s.Seq != int64(16380+i) || s.Clock != int64(i)*250e3 || v != 101325-100*float64(i) {
			t.Errorf("packet %d gives %+v", i, s)
		}
	}
	packets[3][8] ^= 1
	if _, err := d.Decode(frame("pad", 99, time.Minute, packets[3])); err == nil || !strings.Contains(err.Error(), "checksum") {
		t.Errorf("a damaged packet: %v", err)
	}
}

// messages keeps what a framer finds.
type messages struct{ all [][]byte }

func (m *messages) Message(x ingest.Message) error {
	m.all = append(m.all, bytes.Clone(x.Bytes))
	return nil
}

func (*messages) Reject(ingest.Reject) {}
