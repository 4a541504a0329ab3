package ingest

import (
	"bytes"
	"io"
	"testing"
	"time"
)

// discard counts what a framer finds.
type discard struct{ messages, rejects int }

func (d *discard) Message(Message) error { d.messages++; return nil }
func (d *discard) Reject(Reject)         { d.rejects++ }

// benchWire is 64 KiB of framed messages of about the size of a lark frame, and
// how many there are.
func benchWire(b *testing.B, f Framing) (wire []byte, messages int) {
	for len(wire) < 65536 {
		var err error
		if wire, err = f.Encode(wire, sampleMessage(b, f, 22)); err != nil {
			b.Fatal(err)
		}
		messages++
	}
	return wire, messages
}

// BenchmarkFraming gives each framing chunks of 4 KiB, as links do. Compare
// with BenchmarkScan, which only looks for a delimiter and copies: the least
// that any framing must do.
func BenchmarkFraming(b *testing.B) {
	for _, f := range allFramings {
		if f.Kind == FramingDatagram {
			continue
		}
		b.Run(f.Kind+f.Ends+f.Sync, func(b *testing.B) {
			wire, messages := benchWire(b, f)
			fr := mustFramer(b, f, 0)
			b.SetBytes(int64(len(wire)))
			b.ReportAllocs()
			var d discard
			for b.Loop() {
				d = discard{}
				for rest := wire; len(rest) > 0; {
					n := min(4096, len(rest))
					if err := fr.Push(rest[:n], &d); err != nil {
						b.Fatal(err)
					}
					rest = rest[n:]
				}
			}
			if d.messages != messages || d.rejects != 0 {
				b.Fatalf("%d messages of %d, %d rejects", d.messages, messages, d.rejects)
			}
			b.ReportMetric(float64(messages)*float64(b.N)/b.Elapsed().Seconds(), "frames/s")
		})
	}
}

// BenchmarkScan is the raw limit: find each zero with bytes.IndexByte and copy
// what is before it.
func BenchmarkScan(b *testing.B) {
	wire, messages := benchWire(b, Framing{Kind: FramingCOBS})
	b.SetBytes(int64(len(wire)))
	b.ReportAllocs()
	scratch := make([]byte, 0, 1024)
	for b.Loop() {
		n := 0
		for rest := wire; ; n++ {
			i := bytes.IndexByte(rest, 0)
			if i < 0 {
				break
			}
			scratch = append(scratch[:0], rest[:i]...)
			rest = rest[i+1:]
		}
		if n != messages {
			b.Fatalf("%d of %d", n, messages)
		}
	}
	b.ReportMetric(float64(messages)*float64(b.N)/b.Elapsed().Seconds(), "frames/s")
}

// BenchmarkReceiver is the whole way from chunk to frame, with its counts, its
// times and its own copy of the bytes.
func BenchmarkReceiver(b *testing.B) {
	f := Framing{Kind: FramingCOBS}
	wire, messages := benchWire(b, f)
	r, err := NewReceiver(LinkConfig{Name: "a", Serial: "/dev/x", Baud: 9600}, f, Env{Clock: StartClock()})
	if err != nil {
		b.Fatal(err)
	}
	b.SetBytes(int64(len(wire)))
	b.ReportAllocs()
	out := func(Frame) error { return nil }
	for b.Loop() {
		for rest := wire; len(rest) > 0; {
			n := min(4096, len(rest))
			if err := r.Push(Chunk{Heard: r.env.Clock.Now(), Bytes: rest[:n]}, out); err != nil {
				b.Fatal(err)
			}
			rest = rest[n:]
		}
	}
	b.ReportMetric(float64(messages)*float64(b.N)/b.Elapsed().Seconds(), "frames/s")
}

func BenchmarkCaptureWrite(b *testing.B) {
	w, err := NewCaptureWriter(io.Discard, testInfo)
	if err != nil {
		b.Fatal(err)
	}
	c := Chunk{Link: "pad-radio", Heard: time.Second, Bytes: make([]byte, 24)}
	b.SetBytes(24)
	b.ReportAllocs()
	for b.Loop() {
		if err := w.WriteChunk(c); err != nil {
			b.Fatal(err)
		}
	}
}
