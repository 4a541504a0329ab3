package ingest

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// allFramings has each kind, and each way of the kinds that have several.
var allFramings = []Framing{
	{Kind: FramingLine},
	{Kind: FramingLine, Ends: "crlf"},
	{Kind: FramingLine, Ends: "lf"},
	{Kind: FramingLine, Ends: "cr"},
	{Kind: FramingCOBS},
	{Kind: FramingSLIP},
	{Kind: FramingKISS},
	{Kind: FramingSync, Sync: "AA 55", LengthBytes: 2},
	{Kind: FramingSync, Sync: "AA", LengthAt: 2, LengthBytes: 1, LengthEndian: "big", LengthAdd: -4, LengthAgain: true},
	{Kind: FramingSync, Sync: "EB 90 EB", LengthAt: 1, LengthBytes: 4, LengthEndian: "big", LengthAdd: 2, KeepSync: true},
	{Kind: FramingSync, Sync: "D3 D3", Size: 24},
	{Kind: FramingSync, LengthAt: 4, LengthBytes: 2, LengthEndian: "big", LengthAdd: 1}, // space packets, CCSDS 133.0-B
	{Kind: FramingDatagram},
}

// sampleMessage is a message of about size bytes that the framing can carry,
// and ends with a CRC-32 over the rest (see crcOK).
func sampleMessage(t testing.TB, f Framing, size int) []byte {
	t.Helper()
	body := make([]byte, size)
	for i := range body {
		body[i] = byte(i*7 + size)
	}
	return wrapBody(t, f, body)
}

type failer interface {
	Helper()
	Fatal(...any)
}

// wrapBody makes a message with any body that the framing can carry: the
// forbidden bytes of a line are replaced, and the fields of a sync message put
// before it. A CRC-32 is put last, or right before the second length field.
func wrapBody(t failer, f Framing, body []byte) []byte {
	t.Helper()
	switch f.Kind {
	case FramingLine:
		msg := bytes.ReplaceAll(append([]byte{'$'}, body...), []byte{'\n'}, []byte{' '})
		return bytes.ReplaceAll(msg, []byte{'\r'}, []byte{' '})
	case FramingSync:
	default:
		return append([]byte{0}, body...)
	}
	word, err := f.syncWord()
	if err != nil {
		t.Fatal(err)
	}
	var msg []byte
	if f.KeepSync {
		msg = append(msg, word...)
	}
	msg = append(msg, make([]byte, f.LengthAt+f.LengthBytes)...)
	if f.Size > 0 {
		body = append(body, make([]byte, f.Size)...)[:f.Size-4]
	}
	msg = append(msg, body...)
	tail := 0
	if f.LengthAgain {
		tail = f.LengthBytes
		if len(body) > 200 {
			t.Fatal("the body is too long for a field of one byte")
		}
	}
	msg = append(msg, make([]byte, 4+tail)...)
	if err := f.SetLength(msg); err != nil {
		t.Fatal(err)
	}
	end := len(msg) - 4 - tail
	binary.LittleEndian.PutUint32(msg[end:], crc32.ChecksumIEEE(msg[:end]))
	return msg
}

func crcOK(f Framing) func([]byte) bool {
	tail := 0
	if f.LengthAgain {
		tail = f.LengthBytes
	}
	return func(msg []byte) bool {
		end := len(msg) - 4 - tail
		return end >= 0 && binary.LittleEndian.Uint32(msg[end:]) == crc32.ChecksumIEEE(msg[:end])
	}
}

// lumpy bytes are rich in those that mean something to one of the framings.
func lumpy(maxLen int) *rapid.Generator[[]byte] {
	special := rapid.SampledFrom([]byte{0, 1, 0xFF, '\r', '\n', slipEnd, slipEsc, slipEscEnd, slipEscEsc, 0xAA, 0x55, 0xEB, 0x90, 0xD3})
	return rapid.SliceOfN(rapid.OneOf(special, rapid.Byte()), 0, maxLen)
}

// pushInPieces pushes b cut at random places, and checks what is held.
func pushInPieces(t *rapid.T, f *Framer, b []byte, limit int, c *collect) {
	for len(b) > 0 {
		n := rapid.IntRange(1, len(b)).Draw(t, "piece")
		if err := f.Push(b[:n], c); err != nil {
			t.Fatal(err)
		}
		b = b[n:]
		if most := 2*limit + 16; f.Held() > most {
			t.Fatalf("holds %d bytes, at most %d wanted", f.Held(), most)
		}
	}
}

// eachFraming checks a property of the framings of these kinds.
func eachFraming(t *testing.T, kinds []string, prop func(t *rapid.T, f Framing)) {
	for _, f := range allFramings {
		if !slices.Contains(kinds, f.Kind) {
			continue
		}
		t.Run(f.Kind+f.Ends+f.Sync, rapid.MakeCheck(func(t *rapid.T) { prop(t, f) }))
	}
}

// Whatever the messages and however the bytes are cut, they come back, in
// order, and nothing is rejected.
func TestRoundTrip(t *testing.T) {
	all := []string{FramingLine, FramingCOBS, FramingSLIP, FramingKISS, FramingSync, FramingDatagram}
	eachFraming(t, all, func(t *rapid.T, f Framing) {
		bodies := rapid.SliceOfN(lumpy(200), 1, 5).Draw(t, "bodies")
		fr, err := NewFramer(f, 0)
		if err != nil {
			t.Fatal(err)
		}
		var c collect
		var want [][]byte
		var wire []byte
		for _, body := range bodies {
			msg := wrapBody(t, f, body)
			want = append(want, msg)
			one, err := f.Encode(nil, msg)
			if err != nil {
				t.Fatal(err)
			}
			wire = append(wire, one...)
			if f.Kind == FramingDatagram {
				if err := fr.Push(one, &c); err != nil {
					t.Fatal(err)
				}
			}
		}
		if f.Kind != FramingDatagram {
			pushInPieces(t, fr, wire, defaultFrameLimit, &c)
		}
		if diff := cmp.Diff(want, c.raw); diff != "" {
			t.Fatalf("messages (-want +got):\n%s", diff)
		}
		if len(c.reasons) > 0 {
			t.Fatalf("rejects: %q", c.reasons)
		}
		wires := 0
		for _, w := range c.wires {
			wires += w
		}
		// "any" ends the line at the CR; KISS shares no FEND but might have;
		// SLIP's END in front belongs to what came before.
		slack := len(want)
		if wires > len(wire) || wires < len(wire)-slack {
			t.Fatalf("%d bytes on the wire were counted as %d", len(wire), wires)
		}
	})
}

// After any garbage, the framers that know their borders lose at most the
// message that the garbage runs into, and those that begin with a delimiter
// not even that.
func TestResyncDelimited(t *testing.T) {
	delimited := []string{FramingLine, FramingCOBS, FramingSLIP, FramingKISS}
	eachFraming(t, delimited, func(t *rapid.T, f Framing) {
		garbage := lumpy(400).Draw(t, "garbage")
		first := wrapBody(t, f, lumpy(40).Draw(t, "first"))
		second := wrapBody(t, f, lumpy(40).Draw(t, "second"))
		wire := append([]byte(nil), garbage...)
		for _, msg := range [][]byte{first, second} {
			var err error
			if wire, err = f.Encode(wire, msg); err != nil {
				t.Fatal(err)
			}
		}
		const limit = 128
		fr, err := NewFramer(f, limit)
		if err != nil {
			t.Fatal(err)
		}
		var c collect
		pushInPieces(t, fr, wire, limit, &c)
		want := [][]byte{first, second}
		if f.Kind == FramingLine || f.Kind == FramingCOBS {
			want = want[1:]
		}
		if len(c.raw) < len(want) {
			t.Fatalf("%d messages, at least %d wanted", len(c.raw), len(want))
		}
		if diff := cmp.Diff(want, c.raw[len(c.raw)-len(want):]); diff != "" {
			t.Fatalf("last messages (-want +got):\n%s", diff)
		}
	})
}

// With a checksum to tell false starts, sync framing finds every message among
// any garbage, and nothing else.
func TestResyncSyncWithCheck(t *testing.T) {
	eachFraming(t, []string{FramingSync}, func(t *rapid.T, f Framing) {
		var wire []byte
		var want [][]byte
		for range rapid.IntRange(1, 4).Draw(t, "messages") {
			wire = append(wire, lumpy(100).Draw(t, "garbage")...)
			msg := wrapBody(t, f, lumpy(40).Draw(t, "body"))
			var err error
			if wire, err = f.Encode(wire, msg); err != nil {
				t.Fatal(err)
			}
			want = append(want, msg)
		}
		wire = append(wire, lumpy(100).Draw(t, "tail")...)
		const limit = 128
		fr, err := NewFramer(f, limit)
		if err != nil {
			t.Fatal(err)
		}
		fr.SetCheck(crcOK(f))
		var c collect
		pushInPieces(t, fr, wire, limit, &c)
		if err := fr.End(false, &c); err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(want, c.raw); diff != "" {
			t.Fatalf("messages (-want +got):\n%s", diff)
		}
	})
}

// Without a check, sync framing finds a message after garbage that holds no
// sync word.
func TestResyncSyncWithoutCheck(t *testing.T) {
	eachFraming(t, []string{FramingSync}, func(t *rapid.T, f Framing) {
		word, err := f.syncWord()
		if err != nil {
			t.Fatal(err)
		}
		if len(word) == 0 {
			return // only a check tells garbage from messages
		}
		garbage := lumpy(400).Draw(t, "garbage")
		for i := range garbage {
			if garbage[i] == word[0] {
				garbage[i] = ^word[0]
			}
		}
		msg := wrapBody(t, f, lumpy(40).Draw(t, "body"))
		wire, err := f.Encode(garbage, msg)
		if err != nil {
			t.Fatal(err)
		}
		const limit = 128
		fr, err := NewFramer(f, limit)
		if err != nil {
			t.Fatal(err)
		}
		var c collect
		pushInPieces(t, fr, wire, limit, &c)
		if diff := cmp.Diff([][]byte{msg}, c.raw); diff != "" {
			t.Fatalf("messages (-want +got):\n%s", diff)
		}
	})
}

// COBS costs at most one byte for each started 254, and one more (Cheshire and
// Baker 1999), and its code holds no zero.
func TestCOBSOverhead(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		msg := rapid.SliceOfN(rapid.Byte(), 0, 1200).Draw(t, "message")
		wire := EncodeCOBS(nil, msg)
		if i := bytes.IndexByte(wire, 0); i != len(wire)-1 {
			t.Fatalf("zero at %d of %d", i, len(wire))
		}
		if most := len(msg) + max((len(msg)+253)/254, 1) + 1; len(wire) > most {
			t.Fatalf("%d bytes became %d, at most %d wanted", len(msg), len(wire), most)
		}
	})
}
