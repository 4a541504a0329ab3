package decode

import (
	"bytes"
	"math"
	"strconv"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// quickLayout has every kind of field that a text line may have.
const quickLayout = `
[[layout]]
name = "all"
framing = "line"
form = "delimited"
separator = ";"
more = true
fields = [
  { name = "kind", only = [1, 2], ignore = true },
  { name = "seq", type = "hex" },
  { name = "pressure_pa", unit = "hPa", missing = [-1, "none"] },
  { name = "note", ignore = true },
  { name = "latitude_deg", unit = "ddmm.mmmm" },
  { name = "ns", sign_of = "latitude_deg" },
  { name = "temperature_c", missing = 999 },
]
`

// same says that two raw values are one, missing ones and the sign of zero
// included.
func same(a, b float64) bool {
	return math.Float64bits(a) == math.Float64bits(b) || math.IsNaN(a) && math.IsNaN(b)
}

// agree checks that whatever is read in the quick way is read alike in the
// careful one.
func agree(t interface{ Fatalf(string, ...any) }, p *Program, line []byte) (quick bool) {
	a, b := newScratch(p), newScratch(p)
	if !p.readQuick(line, 0, a) {
		return false
	}
	if r := p.readCareful(line, 0, 0, b); r != nil {
		t.Fatalf("%q: read as %v, but it is %v", line, a.raw, r)
	}
	for i := range a.raw {
		if !same(a.raw[i], b.raw[i]) {
			t.Fatalf("%q, field %d: %v in the quick way, %v in the careful one", line, i, a.raw[i], b.raw[i])
		}
	}
	return true
}

func FuzzQuickFields(f *testing.F) {
	all := compile(f, quickLayout)
	for _, s := range []string{"1;1f;1013.25;x;4807.03;N;21.5", "2;0;none;;;;999;more", "1;1;-1;;4807.;S;-.5", "3;1;;;;;", "1;1; 5 ;a b;0;n;+1", "1;1;1e3;;;;-0"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, line []byte) { agree(t, all, line) })
}

// TestQuickNumbers: numbers as boards print them are read in the quick way, and
// to the last bit as strconv reads them.
func TestQuickNumbers(t *testing.T) {
	quick, tried := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`-?[0-9]{0,12}(\.[0-9]{0,8})?`).Draw(t, "number")
		line := []byte(text + ",x")
		v, end, ok := quickNumber(line, 0, ',')
		tried++
		if !ok || text == "" {
			return
		}
		quick++
		want, err := strconv.ParseFloat(text, 64)
		if err != nil || !same(v, want) || end != len(text) {
			t.Fatalf("%q: %v up to byte %d, strconv gives %v, %v", text, v, end, want, err)
		}
	})
	if quick < tried/2 {
		t.Errorf("only %d of %d numbers are read in the quick way", quick, tried)
	}
	for _, text := range []string{"-", ".", "-.", "+1", "1e5", "1.2.3", "1 ", "0x1", "1234567890123456", "nan"} {
		if v, _, ok := quickNumber([]byte(text), 0, ','); ok {
			t.Errorf("%q is read as %v", text, v)
		}
	}
}

// TestQuickLines: the lines of the built-in layout are all read in the quick
// way, so that the speed measured is that of real lines.
func TestQuickLines(t *testing.T) {
	p := builtin(t, "lark-text")
	bd := &board{p: p, rocket: 7, boot: 1}
	for i := range 500 {
		line := bd.say(t, "pad", i, time.Duration(i)*20*time.Millisecond, 0).Bytes
		body := line[bytes.IndexByte(line, ',')+1 : bytes.IndexByte(line, '*')]
		if !agree(t, p, body) {
			t.Fatalf("%q is not read in the quick way", line)
		}
	}
}

// TestXor8 compares with the definition, byte by byte.
func TestXor8(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := rapid.SliceOfN(rapid.Byte(), 0, 40).Draw(t, "bytes")
		var want byte
		for _, c := range b {
			want ^= c
		}
		if got := xor8(b); got != uint32(want) {
			t.Fatalf("%x: %02x, want %02x", b, got, want)
		}
	})
}

// BenchmarkParseText reads lines without placing them in time, and beside it
// the raw limit: every byte touched once for the checksum, every separator
// found.
func BenchmarkParseText(b *testing.B) {
	fs := benchFrames(b, builtin(b, "lark-text"), 5000)
	d := station(b, "", "lark-text")
	b.Run("parse", func(b *testing.B) {
		b.ReportAllocs()
		var p Parsed
		for i := range b.N {
			if err := d.Parse("pad", fs[i%len(fs)].Bytes, &p); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("limit", func(b *testing.B) {
		found, sum := 0, uint32(0)
		for i := range b.N {
			line := fs[i%len(fs)].Bytes
			sum ^= xor8(line)
			found += bytes.Count(line, []byte{','})
		}
		if found == 0 {
			b.Fatal("no separator", sum)
		}
	})
}
