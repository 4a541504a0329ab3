package ingest

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/klauspost/compress/zstd"
	"pgregory.net/rapid"
)

func pack(t interface {
	Helper()
	Fatal(...any)
}, capture []byte) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := PackCapture(&b, bytes.NewReader(capture)); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func unpack(packed []byte) ([]byte, error) {
	r, err := unpacked(bufio.NewReader(bytes.NewReader(packed)))
	if err != nil {
		return nil, err
	}
	return io.ReadAll(r)
}

// drawCapture draws the bytes of a capture with every kind of record, cut off or
// damaged somewhere, or of none.
func drawCapture(t *rapid.T) []byte {
	head, err := AppendCaptureHeader(nil, CaptureInfo{Station: "s", Links: []CaptureLink{{Name: "a"}, {Name: "b", Baud: 9600}}})
	if err != nil {
		t.Fatal(err)
	}
	b := head
	some := rapid.SliceOfN(rapid.Byte(), 0, 40)
	like := some.Draw(t, "a frame like the others")
	for range rapid.IntRange(0, 60).Draw(t, "records") {
		heard := rapid.Int64().Draw(t, "heard")
		var rssi *float64
		if rapid.Bool().Draw(t, "rssi") {
			v := rapid.Float64().Draw(t, "dBm")
			rssi = &v
		}
		link := rapid.Uint16Range(0, 1).Draw(t, "link")
		switch rapid.IntRange(0, 4).Draw(t, "kind") {
		case 0:
			b = AppendNote(b, 'E', time.Duration(heard), some.Draw(t, "text"))
		case 1:
			b = appendChunk(b, link, 0, Chunk{Heard: time.Duration(heard), Bytes: some.Draw(t, "chunk"), RSSI: rssi, Peer: rapid.StringN(0, 9, 9).Draw(t, "peer")})
		default:
			bytes := append([]byte(nil), like...)
			if rapid.Bool().Draw(t, "unlike") || len(bytes) == 0 {
				bytes = some.Draw(t, "frame")
			} else {
				bytes[rapid.IntRange(0, len(bytes)-1).Draw(t, "place")]++
			}
			b = AppendFrame(b, link, 9600, &Frame{
				N: rapid.Uint64().Draw(t, "n"), Mono: heard, Passed: rapid.Int64().Draw(t, "passed"),
				Wire: rapid.IntRange(0, 1<<20).Draw(t, "wire"), Baud: rapid.SampledFrom([]int{9600, 115200}).Draw(t, "baud"), RSSI: rssi, Bytes: bytes,
			})
		}
	}
	switch rapid.IntRange(0, 3).Draw(t, "damage") {
	case 0:
		b = b[:rapid.IntRange(0, len(b)).Draw(t, "cut")]
	case 1:
		b[rapid.IntRange(0, len(b)-1).Draw(t, "at")] ^= 1 << rapid.IntRange(0, 7).Draw(t, "bit")
	case 2:
		b = append(b, make([]byte, 5000)...) // as a power cut leaves it
	}
	return b
}

// What was packed comes out byte for byte, whatever it was.
func TestPackRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		capture := drawCapture(t)
		got, err := unpack(pack(t, capture))
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(got, capture) {
			t.Fatalf("%d bytes came out of %d, or other ones", len(got), len(capture))
		}
	})
}

// twoBoards is a capture of boards that send 24 bytes at 20 Hz: a counter, a
// clock, a pressure with noise of 2 Pa, and a checksum.
func twoBoards(t testing.TB, frames int) []byte {
	t.Helper()
	b, err := AppendCaptureHeader(nil, CaptureInfo{Station: "s", Links: []CaptureLink{{Name: "a"}}})
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(1, 2))
	for i := range frames {
		f := binary.LittleEndian.AppendUint16([]byte{1, byte(i % 2), 0}, uint16(i/2))
		f = binary.LittleEndian.AppendUint32(f, uint32(i/2*50))
		f = binary.LittleEndian.AppendUint32(f, uint32(1013250+20*r.NormFloat64()))
		f = append(f, 0x34, 8, 0x74, 0x0e, 0xdc, 5, 1, byte(r.Uint32()), byte(r.Uint32()))
		b = AppendFrame(b, 0, 0, &Frame{N: uint64(i + 1), Mono: int64(i)*25e6 + r.Int64N(1e6), Passed: int64(i) * 25e6, Wire: 24, Bytes: f})
	}
	return b
}

// A frame in a packed journal takes at most 12 bytes, so that three hours of 8
// rockets at 20 Hz, 1.7 million frames, take about 20 MB.
func TestPackedSize(t *testing.T) {
	const frames = 20000
	z, err := zstd.NewWriter(nil)
	if err != nil {
		t.Fatal(err)
	}
	packed := z.EncodeAll(pack(t, twoBoards(t, frames)), nil)
	if per := float64(len(packed)) / frames; per > 12 {
		t.Errorf("%.1f bytes a frame", per)
	}
	if got, err := unpack(packed); err != nil || !bytes.Equal(got, twoBoards(t, frames)) {
		t.Errorf("%d bytes come out, %v", len(got), err)
	}
}

// A packed capture that is cut off anywhere but between its parts, or has a bit
// that fell over within a block, says so.
func TestUnpackDamage(t *testing.T) {
	whole := twoBoards(t, 40)
	packed := pack(t, whole)
	for n := len(packMagic); n < len(packed); n++ {
		if got, err := unpack(packed[:n]); err == nil && !bytes.HasPrefix(whole, got) || err != nil && !errors.Is(err, errPacked) {
			t.Errorf("cut off at %d: %d bytes, %v", n, len(got), err)
		}
	}
	for at := len(packed) - 300; at < len(packed); at++ { // within the one block
		bad := bytes.Clone(packed)
		bad[at] ^= 0x10
		if got, err := unpack(bad); err == nil && bytes.Equal(got, whole) || err != nil && !errors.Is(err, errPacked) {
			t.Errorf("a bit of byte %d: %v", at, err)
		} else if err == nil {
			t.Errorf("a bit of byte %d is not noticed", at)
		}
	}
}

func FuzzUnpack(f *testing.F) {
	f.Add(pack(f, twoBoards(f, 5))[len(packMagic):])
	f.Add([]byte("\x00\x03abc\x01"))
	f.Fuzz(func(t *testing.T, b []byte) {
		got, err := unpack(append([]byte(packMagic), b...))
		if err != nil {
			return
		}
		again, err := unpack(pack(t, got))
		if err != nil || !bytes.Equal(again, got) {
			t.Errorf("%d bytes that came out do not come out again: %v", len(got), err)
		}
	})
}
