package decode

import (
	"encoding/binary"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// readings writes the samples of a frame: part, number, clock in ms, ms from the
// first to it by its time, and channels.
func readings(t *testing.T, d *Decoder, n int, at time.Duration, b []byte) []string {
	t.Helper()
	s, err := d.Decode(frame("pad", n, at, b))
	if err != nil {
		return []string{err.Error()}
	}
	var out []string
	for _, x := range append([]Sample{s}, d.More()...) {
		text := fmt.Sprintf("%d seq %d %d ms +%d ms", x.Part, x.Seq, x.Clock/1000, x.At.Sub(s.At).Milliseconds())
		for i, name := range x.Values.Names {
			if v := x.Values.Values[i]; !math.IsNaN(v) {
				text += fmt.Sprintf(" %s=%.6g", name, v)
			}
		}
		if x.N != s.N || x.Passed != s.Passed || !x.Heard.Equal(s.Heard) {
			t.Errorf("reading %d is of another frame: %+v", x.Part, x)
		}
		out = append(out, text)
	}
	return out
}

func TestSeries(t *testing.T) {
	for _, c := range []struct {
		name, layout string
		frame        []byte
		want         []string
	}{
		{"lists, and a value that the frame has once", `
form = "binary"
series = { count = 3, every_ms = 100 }
fields = [ { name = "seq", type = "u8" }, { name = "clock", type = "u16", unit = "ms" },
  { name = "pressure_pa", type = "u16", scale = 2, series = true, missing = 65535 }, { name = "temperature_c", type = "i8", series = true }, { name = "cell_v", type = "u16", unit = "mV" } ]`,
			[]byte{9, 0xe8, 0x03, 0x00, 0x80, 0xff, 0xff, 0x02, 0x80, 20, 21, 0xf6, 0xac, 0x0f}, []string{
				"1 seq -1 800 ms +0 ms pressure_pa=65536 temperature_c=20",
				"2 seq -1 900 ms +100 ms temperature_c=21",
				"3 seq 9 1000 ms +200 ms pressure_pa=65540 temperature_c=-10 cell_v=4.012"}},
		{"records, as many as there are, the clock of the first", `
form = "binary"
checksum = "CRC-16/IBM-3740"
series = { every_ms = 20, clock = "first", together = true }
fields = [ { name = "clock", type = "u16", unit = "ms" }, { name = "pressure_pa", type = "u16", scale = 2, series = true }, { name = "flags", type = "u8", flags = { release_on = 0 }, series = true } ]`,
			withCRC([]byte{0xe8, 0x03, 0x00, 0x80, 0, 0x01, 0x80, 0, 0x02, 0x80, 1}), []string{
				"1 seq -1 1000 ms +0 ms pressure_pa=65536 release_on=0",
				"2 seq -1 1020 ms +20 ms pressure_pa=65538 release_on=0",
				"3 seq -1 1040 ms +40 ms pressure_pa=65540 release_on=1"}},
		{"one reading and its differences", `
form = "binary"
series = { count = 4, every_ms = 50 }
fields = [ { name = "pressure_pa", type = "u32", series = true, delta = "i8", unit = "dPa" }, { name = "clock", type = "u16", unit = "ms" } ]`,
			[]byte{0x02, 0x76, 0x0f, 0x00, 0xfb, 0x00, 0x7f, 0xe8, 0x03}, []string{
				"1 seq -1 850 ms +0 ms pressure_pa=101325",
				"2 seq -1 900 ms +50 ms pressure_pa=101324",
				"3 seq -1 950 ms +100 ms pressure_pa=101324",
				"4 seq -1 1000 ms +150 ms pressure_pa=101337"}},
		{"lists in JSON", `
form = "json"
series = { every_ms = 10 }
fields = [ { name = "clock", unit = "ms", path = "/t" }, { name = "altitude_m", path = "/h", series = true, delta = "yes" }, { name = "cell_v", path = "/v" } ]`,
			[]byte(`{"t":1000,"h":[103.5,0.25,-0.5],"v":4}`), []string{
				"1 seq -1 980 ms +0 ms altitude_m=103.5",
				"2 seq -1 990 ms +10 ms altitude_m=103.75",
				"3 seq -1 1000 ms +20 ms altitude_m=103.25 cell_v=4"}},
		{"columns of a line, and one behind them", `
form = "delimited"
prefix = "D,"
series = { every_ms = 100 }
fields = [ { name = "seq" }, { name = "clock", unit = "ms" }, { name = "pressure_pa", unit = "hPa", series = true }, { name = "temperature_c", series = true, missing = -99 }, { name = "cell_v", unit = "mV" } ]`,
			[]byte("D,9,1000,1013.25,1013.2,20.5,-99,4012"), []string{
				"1 seq -1 900 ms +0 ms pressure_pa=101325 temperature_c=20.5",
				"2 seq 9 1000 ms +100 ms pressure_pa=101320 cell_v=4.012"}},
		{"records of a line with a checksum, the others as differences", `
form = "delimited"
checksum = "xor8"
series = { count = 2, every_ms = 20, clock = "first", together = true }
fields = [ { name = "clock", unit = "ms" }, { name = "altitude_m", series = true, delta = "yes" }, { name = "release_on", series = true }, { name = "rssi_dbm" } ]`,
			[]byte("1000,10.5,0,-0.25,1,-60*29"), []string{
				"1 seq -1 1000 ms +0 ms altitude_m=10.5 release_on=0 rssi_dbm=-60",
				"2 seq -1 1020 ms +20 ms altitude_m=10.25 release_on=1"}},
		{"several readings in a column", `
form = "delimited"
separator = "space"
pairs = "="
series = { every_ms = 20, separator = "/" }
fields = [ { name = "clock", unit = "ms", column = "t" }, { name = "altitude_m", column = "h", series = true } ]`,
			[]byte("t=1000 h=1/2.5/"), []string{
				"1 seq -1 960 ms +0 ms altitude_m=1",
				"2 seq -1 980 ms +20 ms altitude_m=2.5",
				"3 seq -1 1000 ms +40 ms"}},
		{"no number of readings", `
form = "delimited"
series = { count = 3, every_ms = 20 }
fields = [ { name = "clock", unit = "ms" }, { name = "altitude_m", series = true } ]`,
			[]byte("1000,1,2"), []string{`corrupt frame: field count: layout "slow": byte 8 (0x08): 3 fields, which is no number of readings of the layout: "1000,1,2"`}},
		{"a frame that is cut off", `
form = "binary"
series = { every_ms = 20, together = true }
fields = [ { name = "clock", type = "u16", unit = "ms" }, { name = "pressure_pa", type = "u16", series = true } ]`,
			[]byte{0, 0, 1, 2, 3}, []string{`corrupt frame: length: layout "slow": byte 4 (0x04): 5 bytes where the layout has 4`}},
		{"no list", `
form = "json"
series = { every_ms = 10 }
fields = [ { name = "altitude_m", path = "/h", series = true } ]`,
			[]byte(`{"h":3}`), []string{`corrupt frame: not a number: layout "slow": field "altitude_m": byte 0 (0x00): 3 where a list of readings should be`}},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := station(t, "[[layout]]\nname = \"slow\"\nframing = \"datagram\""+c.layout, "slow")
			diff(t, "samples", c.want, readings(t, d, 1, 2*time.Second, c.frame))
		})
	}
}

// withCRC puts the checksum behind a frame.
func withCRC(b []byte) []byte {
	s, _ := findSum("CRC-16/IBM-3740")
	return binary.LittleEndian.AppendUint16(b, uint16(s.calc(b)))
}

func TestSeriesRefused(t *testing.T) {
	for _, c := range []struct{ layout, want string }{
		{`fields = [ { name = "a", type = "u8", series = true } ]`, "write series = { every_ms"},
		{"series = { every_ms = 10 }\nfields = [ { name = \"a\", type = \"u8\" } ]", "no field has series = true"},
		{"series = { count = 3 }\nfields = [ { name = \"a\", type = \"u8\", series = true } ]", "write how many ms"},
		{"series = { count = 300, every_ms = 1 }\nfields = [ { name = \"a\", type = \"u8\", series = true } ]", "outside 0 to 256"},
		{"series = { every_ms = 1, clock = \"middle\" }\nfields = [ { name = \"a\", type = \"u8\", series = true } ]", "write first or last"},
		{"series = { every_ms = 1 }\nfields = [ { name = \"a\", type = \"u8\", series = true }, { name = \"b\", type = \"u8\", series = true } ]", "count is missing"},
		{"series = { every_ms = 1 }\nfields = [ { name = \"a\", type = \"u8\", series = true }, { name = \"b\", type = \"u8\" } ]", "write count for the series"},
		{"series = { every_ms = 1, together = true }\nfields = [ { name = \"a\", type = \"u8\", series = true }, { name = \"b\", type = \"u8\" }, { name = \"c\", type = \"u8\", series = true } ]", "must stand together"},
		{"series = { every_ms = 1 }\nfields = [ { name = \"seq\", type = \"u8\", series = true } ]", "are the frame's"},
		{"series = { every_ms = 1 }\nfields = [ { name = \"a\", type = \"u8\", series = true, delta = \"f32\" } ]", "is no type of a difference"},
		{"fields = [ { name = \"a\", type = \"u8\", delta = \"i8\" } ]", "only fields with series"},
		{"series = { every_ms = 1, separator = \"/\" }\nfields = [ { name = \"a\", type = \"u8\", series = true } ]", "separator is for lines"},
		{"form = \"delimited\"\nseries = { every_ms = 1 }\nfields = [ { name = \"a\", column = 2, series = true } ]", "write separator"},
		{"form = \"delimited\"\nmore = true\nseries = { every_ms = 1 }\nfields = [ { name = \"a\", series = true } ]", "count is missing"},
		{"form = \"delimited\"\nseries = { every_ms = 1, together = true, separator = \"/\" }\nfields = [ { name = \"a\", series = true } ]", "contradicts together"},
	} {
		form := "form = \"binary\"\n"
		if strings.HasPrefix(c.layout, "form") {
			form = ""
		}
		ls := layouts(t, "[[layout]]\nname = \"slow\"\n"+form+c.layout)
		if _, err := Compile(ls[0], ls); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s\n got %v\nwant %q in it", c.layout, err, c.want)
		}
	}
}

// TestSeriesMerged: two receivers of the same frames make one stream, every reading
// once; a message counts once, and none is said to be lost.
func TestSeriesMerged(t *testing.T) {
	const text = `[[layout]]
name = "slow"
framing = "datagram"
form = "binary"
series = { every_ms = 20, together = true }
fields = [ { name = "seq", type = "u8" }, { name = "clock", type = "u16", unit = "ms" }, { name = "pressure_pa", type = "u16", series = true } ]`
	ls := layouts(t, text)
	rapid.Check(t, func(t *rapid.T) {
		count := rapid.IntRange(1, 10).Draw(t, "readings")
		d, err := New(Config{Layouts: ls, Links: []LinkLayouts{{Link: "a", Layouts: []string{"slow"}, Rocket: "Teal"}, {Link: "b", Layouts: []string{"slow"}, Rocket: "Teal"}}})
		if err != nil {
			t.Fatal(err)
		}
		m := NewMerger()
		taken, want := 0, 0
		last := time.Time{}
		for i := range 20 {
			b := []byte{byte(i)}
			b = binary.LittleEndian.AppendUint16(b, uint16(1000+20*count*i))
			for k := range count {
				b = binary.LittleEndian.AppendUint16(b, uint16(50000+k))
			}
			want += count
			for _, link := range []string{"a", "b"} {
				s, err := d.Decode(frame(link, i, time.Duration(20*count*i+1000)*time.Millisecond, b))
				if err != nil {
					t.Fatal(err)
				}
				for _, x := range append([]Sample{s}, d.More()...) {
					if !m.Take(&x) {
						continue
					}
					if taken++; !x.At.After(last) {
						t.Fatalf("frame %d part %d is at %v, after %v", i, x.Part, x.At, last)
					}
					last = x.At
				}
			}
		}
		if c := m.Counts(); taken != want || len(c) != 1 || c[0].Lost != 0 || c[0].Heard != 20 {
			t.Fatalf("%d readings of %d taken; %+v", taken, want, c)
		}
	})
}

func FuzzSeries(f *testing.F) {
	f.Add([]byte{0xe8, 0x03, 0x00, 0x80, 0, 0x01, 0x80, 0, 0x02, 0x80, 1})
	f.Add([]byte{})
	fuzzLayout(f, `[[layout]]
name = "slow"
framing = "datagram"
form = "binary"
series = { every_ms = 20, clock = "first", together = true }
fields = [ { name = "clock", type = "u16", unit = "ms" }, { name = "pressure_pa", type = "u16", series = true, delta = "i8" }, { name = "flags", type = "u8", flags = { release_on = 0 }, series = true } ]`, "slow")
}

func FuzzSeriesText(f *testing.F) {
	f.Add([]byte("D,1,1000,1013.25,1013.2,20.5,-99,4012"))
	f.Add([]byte("D,1,1000,1013.25,20.5,4012"))
	f.Add([]byte("t=1000 h=1/2.5/ v=1"))
	fuzzLayout(f, `[[layout]]
name = "slow"
framing = "line"
form = "kinds"
kinds = [ "columns", "pairs" ]
[[layout]]
name = "columns"
form = "delimited"
prefix = "D,"
series = { every_ms = 100 }
fields = [ { name = "seq" }, { name = "clock", unit = "ms" }, { name = "pressure_pa", unit = "hPa", series = true }, { name = "temperature_c", series = true, missing = -99, delta = "yes" }, { name = "cell_v", unit = "mV" } ]
[[layout]]
name = "pairs"
form = "delimited"
separator = "space"
pairs = "="
series = { every_ms = 20, separator = "/" }
fields = [ { name = "clock", unit = "ms", column = "t" }, { name = "altitude_m", column = "h", series = true } ]`, "slow")
}
