package block

import (
	"encoding/binary"
	"errors"
	"hash/crc32"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func codec(t testing.TB) *Codec {
	t.Helper()
	c, err := NewCodec()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := c.Close(); err != nil {
			t.Error(err)
		}
	})
	return c
}

// anyInt draws numbers of every size, and runs with a steady step.
func anyInts(t *rapid.T, name string, n int) []int64 {
	out := make([]int64, n)
	switch rapid.IntRange(0, 3).Draw(t, name+" kind") {
	case 0:
		v := rapid.Int64().Draw(t, name)
		for i := range out {
			out[i] = v
		}
	case 1:
		v, step := rapid.Int64().Draw(t, name), rapid.Int64Range(-100, 100).Draw(t, name+" step")
		for i := range out {
			out[i] = v
			v += step
		}
	case 2:
		v := int64(0)
		for i := range out {
			v += 20_000_000 + rapid.Int64Range(-300, 300).Draw(t, name)
			out[i] = v
		}
	default:
		for i := range out {
			out[i] = rapid.Int64().Draw(t, name)
		}
	}
	return out
}

var oddFloats = []float64{math.NaN(), math.Float64frombits(0x7ff0000000000001), math.Inf(1), math.Inf(-1), math.Copysign(0, -1), 0, 1,
	math.MaxFloat64, math.SmallestNonzeroFloat64, 1 << 53, 1<<53 + 2, 0.1, 1.0 / 3}

// anyFloat draws what boards send and what they do not.
func anyFloat(t *rapid.T, kind int) float64 {
	switch kind {
	case 0:
		return float64(rapid.Int64Range(-100000, 1100000).Draw(t, "tenths")) / 10
	case 1:
		return float64(rapid.Int64Range(-3000, 9000).Draw(t, "thousandths")) * 0.001
	case 2:
		return float64(rapid.Float32().Draw(t, "single"))
	case 3:
		return rapid.SampledFrom(oddFloats).Draw(t, "odd")
	}
	return rapid.Float64().Draw(t, "double")
}

func anyValues(t *rapid.T, name string, n int) Values {
	var v Values
	kind := rapid.IntRange(0, 4).Draw(t, name+" kind")
	lacks := rapid.Bool().Draw(t, name+" lacks some")
	for i := range n {
		if lacks && rapid.Bool().Draw(t, "lacks") {
			continue
		}
		v.Put(i, anyFloat(t, kind))
	}
	v.padUnlessEmpty(n)
	return v
}

func anySamples(t *rapid.T) *Samples {
	n := rapid.IntRange(0, 40).Draw(t, "rows")
	s := &Samples{RSSI: anyValues(t, "rssi", n)}
	for _, c := range s.ints() {
		*c = anyInts(t, "ints", n)
	}
	for _, name := range rapid.SliceOfDistinct(rapid.OneOf(rapid.SampledFrom(ids[firstChannel:]), rapid.String()), rapid.ID[string]).Draw(t, "names") {
		s.Channels = append(s.Channels, Channel{name, anyValues(t, name, n)})
	}
	return s
}

func anyFrames(t *rapid.T) *Frames {
	n := rapid.IntRange(0, 40).Draw(t, "rows")
	f := &Frames{RSSI: anyValues(t, "rssi", n)}
	for _, c := range f.ints() {
		*c = anyInts(t, "ints", n)
	}
	size := rapid.IntRange(-1, 30).Draw(t, "size")
	for range n {
		low, high := size, size
		if size < 0 {
			low, high = 0, 60
		}
		f.Bytes = append(f.Bytes, rapid.SliceOfN(rapid.Byte(), low, high).Draw(t, "bytes"))
	}
	return f
}

// row is one sample with all bits, for comparing.
type row struct {
	Ints   [7]int64
	RSSI   *uint64
	Values map[string]uint64
}

func bitsOf(v *Values, i int) *uint64 {
	x, ok := v.At(i)
	if !ok {
		return nil
	}
	u := math.Float64bits(x)
	return &u
}

func rowsOf(s *Samples) []row {
	var out []row
	for i := range s.Rows() {
		r := row{RSSI: bitsOf(&s.RSSI, i), Values: map[string]uint64{}}
		for k, c := range s.ints() {
			r.Ints[k] = (*c)[i]
		}
		for k := range s.Channels {
			if u := bitsOf(&s.Channels[k].Values, i); u != nil {
				r.Values[s.Channels[k].Name] = *u
			}
		}
		out = append(out, r)
	}
	return out
}

func TestSamplesRoundTrip(t *testing.T) {
	c := codec(t)
	var back Samples // used again each time
	rapid.Check(t, func(t *rapid.T) {
		in := anySamples(t)
		want := rowsOf(in)
		data, err := c.EncodeSamples(in)
		if err != nil {
			t.Fatal(err)
		}
		if err := c.DecodeSamples(data, &back); err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(want, rowsOf(&back)); diff != "" {
			t.Fatalf("(-want +got):\n%s", diff)
		}
		for i := 1; i < len(back.Channels); i++ {
			if back.Channels[i-1].Name >= back.Channels[i].Name {
				t.Fatalf("channels are not in order")
			}
		}
		viewFits(t, c, data, &back)
	})
}

// viewFits compares the reading of single columns with that of all.
func viewFits(t *rapid.T, c *Codec, data []byte, all *Samples) {
	v, err := c.OpenSamples(data)
	if err != nil {
		t.Fatal(err)
	}
	defer v.Close()
	at := v.At(nil)
	if !slices.Equal(at, all.At) || !slices.Equal(v.Passed(nil, at), all.Passed) || !slices.Equal(v.Numbers(nil), all.N) {
		t.Fatal("times or numbers differ")
	}
	for k := range all.Channels {
		got, ok := v.Channel(all.Channels[k].Name, nil)
		if !ok {
			t.Fatalf("%q is not there", all.Channels[k].Name)
		}
		for i := range got {
			want, has := all.Channels[k].At(i)
			if has && math.Float64bits(got[i]) != math.Float64bits(want) || !has && !math.IsNaN(got[i]) {
				t.Fatalf("%q row %d: %v, want %v", all.Channels[k].Name, i, got[i], want)
			}
		}
	}
	if got, ok := v.Channel("not a channel \x00", nil); ok || len(got) != all.Rows() {
		t.Fatal("a channel that is not there")
	}
	if v.Err() != nil {
		t.Fatal(v.Err())
	}
}

func TestFramesRoundTrip(t *testing.T) {
	c := codec(t)
	var back Frames
	rapid.Check(t, func(t *rapid.T) {
		in := anyFrames(t)
		data, err := c.EncodeFrames(in)
		if err != nil {
			t.Fatal(err)
		}
		if err := c.DecodeFrames(data, &back); err != nil {
			t.Fatal(err)
		}
		for k, want := range in.ints() {
			if got := *back.ints()[k]; len(got) != len(*want) || len(got) > 0 && !cmp.Equal(got, *want) {
				t.Fatalf("column %d: %v, want %v", k, got, *want)
			}
		}
		for i, b := range in.Bytes {
			if string(b) != string(back.Bytes[i]) || !cmp.Equal(bitsOf(&in.RSSI, i), bitsOf(&back.RSSI, i)) {
				t.Fatalf("row %d: % x, want % x", i, back.Bytes[i], b)
			}
		}
	})
}

// TestRowsMoved checks Slice, Pick and Add against the rows themselves.
func TestRowsMoved(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := anySamples(t), anySamples(t)
		want := append(rowsOf(a), rowsOf(b)...)
		var all Samples
		all.Add(a)
		all.Add(b)
		if diff := cmp.Diff(want, rowsOf(&all)); diff != "" {
			t.Fatalf("Add (-want +got):\n%s", diff)
		}
		if len(want) == 0 {
			return
		}
		i := rapid.IntRange(0, len(want)).Draw(t, "i")
		k := rapid.IntRange(i, len(want)).Draw(t, "k")
		part := rowsOf(all.Slice(i, k))
		if diff := cmp.Diff(want[i:k], part); diff != "" && i < k {
			t.Fatalf("Slice (-want +got):\n%s", diff)
		}
		picked := rapid.SliceOf(rapid.IntRange(0, len(want)-1)).Draw(t, "picked")
		if diff := cmp.Diff(pick(want, picked), rowsOf(all.Pick(picked))); diff != "" && len(picked) > 0 {
			t.Fatalf("Pick (-want +got):\n%s", diff)
		}
	})
}

// few is a small block with every kind of column.
func few(t testing.TB, c *Codec) (samples, frames []byte) {
	t.Helper()
	s := &Samples{}
	f := &Frames{}
	for i := range 90 {
		n := int64(i)
		for k, col := range s.ints() {
			*col = append(*col, n*n*int64(k+1))
		}
		for _, col := range f.ints() {
			*col = append(*col, n*20)
		}
		f.Bytes = append(f.Bytes, []byte{1, 2, byte(i)})
		if i%3 > 0 {
			s.RSSI.Put(i, -80.5)
			f.RSSI.Put(i, float64(i)/7)
		}
		s.Channel("pressure_pa", 0).Put(i, 101325-float64(i)/10)
		s.Channel("other", 1).Put(i, math.Sqrt(float64(i)))
	}
	samples, err := c.EncodeSamples(s)
	if err != nil {
		t.Fatal(err)
	}
	if frames, err = c.EncodeFrames(f); err != nil {
		t.Fatal(err)
	}
	return samples, frames
}

// TestEveryDamage cuts a block at each byte, flips each bit and adds a byte: all
// of it must be noticed.
func TestEveryDamage(t *testing.T) {
	c := codec(t)
	samples, frames := few(t, c)
	for name, read := range map[string]struct {
		data []byte
		try  func([]byte) error
	}{
		"samples": {samples, func(b []byte) error { return c.DecodeSamples(b, &Samples{}) }},
		"frames":  {frames, func(b []byte) error { return c.DecodeFrames(b, &Frames{}) }},
	} {
		if err := read.try(read.data); err != nil {
			t.Fatalf("%s: whole: %v", name, err)
		}
		for cut := range read.data {
			if err := read.try(read.data[:cut]); !errors.Is(err, ErrDamaged) {
				t.Errorf("%s cut at %d: %v", name, cut, err)
			}
		}
		for i := range 8 * len(read.data) {
			b := append([]byte(nil), read.data...)
			b[i/8] ^= 1 << (i % 8)
			if err := read.try(b); !errors.Is(err, ErrDamaged) {
				t.Errorf("%s with bit %d of byte %d turned: %v", name, i%8, i/8, err)
			}
		}
		if err := read.try(append(append([]byte(nil), read.data...), 0)); !errors.Is(err, ErrDamaged) {
			t.Errorf("%s with a byte more: %v", name, err)
		}
	}
	if err := c.DecodeSamples(frames, &Samples{}); !errors.Is(err, ErrDamaged) {
		t.Errorf("frames read as samples: %v", err)
	}
}

// summed puts a right sum behind bytes, so that what is behind it is reached.
func summed(b []byte) []byte {
	b = append([]byte(nil), b...)
	return binary.LittleEndian.AppendUint32(b, crc32.Checksum(b, castagnoli))
}

// TestHostile has a valid twin for each block that must be refused.
func TestHostile(t *testing.T) {
	c := codec(t)
	rows := func(n uint64, rest ...byte) []byte {
		return append(binary.AppendUvarint([]byte{kindSamples, version}, n), rest...)
	}
	samples, _ := few(t, c)
	for name, b := range map[string][]byte{
		"more rows than there may be":    rows(maxRows+1, 0),
		"rows without columns":           rows(3, 0),
		"columns that are not there":     rows(3, 200, 1),
		"a huge column":                  rows(3, 1, idN, 1, 0xff, 0xff, 0xff, 0xff, 0x7f, 0),
		"a column longer than the block": rows(3, 1, idN, 0, 100, 0),
		"a channel name beyond the end":  rows(3, 1, namedColumn, 120, 'x'),
	} {
		if err := c.DecodeSamples(summed(b), &Samples{}); !errors.Is(err, ErrDamaged) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if err := c.DecodeSamples(summed(samples[:len(samples)-trailer]), &Samples{}); err != nil {
		t.Errorf("the twin: %v", err)
	}
}

// FuzzDecode gives the decoder blocks with a right sum and anything else: it
// must not panic, and what it takes must come back when written again.
func FuzzDecode(f *testing.F) {
	c := codec(f)
	samples, frames := few(f, c)
	f.Add(samples[:len(samples)-trailer])
	f.Add(frames[:len(frames)-trailer])
	f.Add([]byte{kindSamples, version, 3, 1, idN, 0, 2, intsSame, 4})
	f.Fuzz(func(t *testing.T, b []byte) {
		b = summed(b)
		var s Samples
		if c.DecodeSamples(b, &s) == nil {
			want := rowsOf(&s)
			again, err := c.EncodeSamples(&s)
			if err != nil {
				t.Fatal(err)
			}
			var back Samples
			if err := c.DecodeSamples(again, &back); err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(want, rowsOf(&back)); diff != "" {
				t.Fatal(diff)
			}
		}
		var fr Frames
		if c.DecodeFrames(b, &fr) == nil {
			if _, err := c.EncodeFrames(&fr); err != nil {
				t.Fatal(err)
			}
		}
	})
}

// A -0 among whole numbers keeps its sign.
func TestNegativeZeroAmongWholeNumbers(t *testing.T) {
	c := codec(t)
	minus := math.Copysign(0, -1)
	for _, v := range [][]float64{{minus, 1, 2}, {0.5, minus, 0.25}} {
		in := &Samples{Channels: []Channel{{Name: "x", Values: Values{V: v}}}}
		for i := range v {
			for _, col := range in.ints() {
				*col = append(*col, int64(i))
			}
		}
		data, err := c.EncodeSamples(in)
		if err != nil {
			t.Fatal(err)
		}
		var out Samples
		if err := c.DecodeSamples(data, &out); err != nil {
			t.Fatal(err)
		}
		for i, x := range v {
			if got := out.Channels[0].V[i]; math.Float64bits(got) != math.Float64bits(x) {
				t.Errorf("value %d of %v came back as %v, sign %t", i, v, got, math.Signbit(got))
			}
		}
	}
}

// A few bytes that stand for very many values are refused before memory is taken.
func TestManyRowsOfManyColumns(t *testing.T) {
	c := codec(t)
	w := c.writer()
	const rows = maxRows
	for _, id := range []byte{idN, idBoot, idSeq, idClock, idAt, idMono, idPassed} {
		w.ints(id, make([]int64, rows), nil)
	}
	same := Values{V: make([]float64, rows)}
	for i := range 200 {
		w.floats(namedColumn, strings.Repeat("x", i+1), &same)
	}
	var out Samples
	if err := c.DecodeSamples(w.finish(kindSamples, rows), &out); !errors.Is(err, ErrDamaged) {
		t.Errorf("100 MB of values were taken from a small block: %v", err)
	}
}
