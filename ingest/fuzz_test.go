package ingest

import (
	"bytes"
	"errors"
	"io"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// fuzzFraming pushes any bytes in one and byte by byte: both must find the
// same messages, hold no more than they may, and what was found must come back
// when it is encoded again.
func fuzzFraming(f *testing.F, framings ...Framing) {
	for i, fr := range framings {
		wire, err := fr.Encode(nil, sampleMessage(f, fr, 20))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(byte(i), wire)
		f.Add(byte(i), append(append([]byte{0xAA, 0xC0, 0, 0xDB, '\r', '\n'}, wire...), wire[:len(wire)/2]...))
	}
	for _, v := range vectors {
		f.Add(byte(0), unhex(f, v.wire))
	}
	f.Fuzz(func(t *testing.T, which byte, data []byte) {
		framing := framings[int(which)%len(framings)]
		const limit = 64
		var one, many collect
		fr := mustFramer(t, framing, limit)
		if err := errors.Join(fr.Push(data, &one), fr.End(false, &one)); err != nil {
			t.Fatal(err)
		}
		fr = mustFramer(t, framing, limit)
		for i := range data {
			if err := fr.Push(data[i:i+1], &many); err != nil {
				t.Fatal(err)
			}
			if fr.Held() > 2*limit+16 {
				t.Fatalf("holds %d bytes", fr.Held())
			}
		}
		if err := fr.End(false, &many); err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(one.messages, many.messages); diff != "" {
			t.Errorf("in one and byte by byte differ:\n%s", diff)
		}
		for _, msg := range one.raw {
			if len(msg) == 0 || len(msg) > limit {
				t.Fatalf("a message of %d bytes at a limit of %d", len(msg), limit)
			}
			again, err := framing.Encode(nil, msg)
			if err != nil {
				t.Fatalf("a message that was found cannot be encoded: %v", err)
			}
			var c collect
			if err := mustFramer(t, framing, limit).Push(again, &c); err != nil {
				t.Fatal(err)
			}
			if len(c.raw) != 1 || !bytes.Equal(c.raw[0], msg) {
				t.Fatalf("% X came back as % X", msg, c.raw)
			}
		}
	})
}

func framingsOf(kind string) []Framing {
	var out []Framing
	for _, f := range allFramings {
		if f.Kind == kind {
			out = append(out, f)
		}
	}
	return out
}

func FuzzLine(f *testing.F) { fuzzFraming(f, framingsOf(FramingLine)...) }
func FuzzCOBS(f *testing.F) { fuzzFraming(f, framingsOf(FramingCOBS)...) }
func FuzzSLIP(f *testing.F) { fuzzFraming(f, framingsOf(FramingSLIP)...) }
func FuzzKISS(f *testing.F) { fuzzFraming(f, framingsOf(FramingKISS)...) }
func FuzzSync(f *testing.F) {
	var short []Framing
	for _, fr := range framingsOf(FramingSync) {
		if fr.Size <= 64 {
			short = append(short, fr)
		}
	}
	fuzzFraming(f, short...)
}

func FuzzDatagram(f *testing.F) {
	f.Add([]byte("$PLRK"))
	f.Fuzz(func(t *testing.T, data []byte) {
		var c collect
		if err := mustFramer(t, Framing{Kind: FramingDatagram}, 64).Push(data, &c); err != nil {
			t.Fatal(err)
		}
		if got := len(c.raw) == 1; got != (len(data) > 0 && len(data) <= 64) {
			t.Fatalf("%d bytes gave %d messages", len(data), len(c.raw))
		}
	})
}

// FuzzCapture reads any bytes as a capture: it must end, with no more chunks
// than there is room for, and what it read must be read back the same when it
// is written again.
func FuzzCapture(f *testing.F) {
	whole := writeCapture(f, testInfo, testChunks)
	f.Add(whole)
	f.Add(whole[:len(whole)-3])
	f.Add(append(append([]byte{}, whole...), 0, 0, 0, 0, 0, 0))
	f.Add(append(append([]byte{}, whole...), 1, 2, 3, 4, 5, 6))
	framed := AppendFrame(append([]byte{}, whole...), 1, 0, &Frame{Baud: 300, N: 7, Mono: 10, Passed: 12, Wire: 4, RSSI: ptr(-80.0), Bytes: []byte{1, 2}})
	f.Add(AppendNote(framed, 'A', 12, []byte("{}")))
	f.Fuzz(func(t *testing.T, data []byte) {
		r, err := NewCaptureReader(bytes.NewReader(data))
		if err != nil {
			return
		}
		chunks, _ := readChunks(r)
		if most := len(data) / (captureFixed + 8); len(chunks) > most {
			t.Fatalf("%d chunks in %d bytes", len(chunks), len(data))
		}
		if len(chunks) == 0 {
			return
		}
		var buf bytes.Buffer
		w, err := NewCaptureWriter(&buf, r.Info())
		if err != nil {
			return // such as a link that is named twice
		}
		for _, c := range chunks {
			if err := w.WriteChunk(c); err != nil {
				t.Fatal(err)
			}
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		r, err = NewCaptureReader(&buf)
		if err != nil {
			t.Fatal(err)
		}
		again, err := readChunks(r)
		if !errors.Is(err, io.EOF) {
			t.Fatal(err)
		}
		if diff := cmp.Diff(chunks, again, cmp.Comparer(sameRSSI)); diff != "" {
			t.Fatalf("written and read again (-want +got):\n%s", diff)
		}
	})
}

// sameRSSI compares values bit for bit, so that NaN equals itself.
func sameRSSI(a, b *float64) bool {
	if a == nil || b == nil {
		return a == b
	}
	return *a == *b || *a != *a && *b != *b
}

var testInfo = CaptureInfo{
	Station: "north-field",
	Epoch:   time.Date(2026, 5, 16, 9, 30, 0, 0, time.UTC),
	Links: []CaptureLink{
		{Name: "pad-radio", Kind: "serial", Baud: 9600, Layout: "lark-bin"},
		{Name: "wifi", Kind: "udp"},
	},
}

var testChunks = []Chunk{
	{Link: "pad-radio", Baud: 9600, Heard: 5 * time.Millisecond, Bytes: []byte{1, 2, 3}},
	{Link: "wifi", Heard: 6 * time.Millisecond, Bytes: []byte("hello"), Peer: "192.168.4.2:9750", Datagram: true, End: EndWhole, RSSI: ptr(-71.5)},
	{Link: "pad-radio", Baud: 9600, Heard: 7 * time.Millisecond, Bytes: []byte{}, End: EndCut},
	{Link: "wifi", Heard: 9 * time.Millisecond, Bytes: []byte{0}, Datagram: true, End: EndWhole},
}
