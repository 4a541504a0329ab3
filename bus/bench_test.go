package bus

import (
	"testing"
	"time"

	"github.com/nats-io/nats.go/jetstream"
)

// BenchmarkPublish is the whole way of a frame into the stream: JSON, queue,
// order, acknowledgement. BenchmarkPublishPlain beside it is what JetStream takes
// of the same bytes on the same kind of stream, published asynchronously; run
// both in one go and compare.
func BenchmarkPublish(b *testing.B) {
	x := open(b, Options{})
	b.ReportAllocs()
	b.ResetTimer()
	for n := 1; n <= b.N; n++ {
		if err := x.PublishFrame(b.Context(), testFrame(uint64(n))); err != nil {
			b.Fatal(err)
		}
	}
	if err := x.Flush(b.Context()); err != nil {
		b.Fatal(err)
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "frames/s")
}

func BenchmarkPublishSample(b *testing.B) {
	x := open(b, Options{})
	b.ReportAllocs()
	b.ResetTimer()
	for n := 1; n <= b.N; n++ {
		if err := x.PublishSample(b.Context(), testSample(uint64(n))); err != nil {
			b.Fatal(err)
		}
	}
	if err := x.Flush(b.Context()); err != nil {
		b.Fatal(err)
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "samples/s")
}

func BenchmarkPublishPlain(b *testing.B) {
	x := open(b, Options{})
	js, err := jetstream.New(x.nc, jetstream.WithPublishAsyncMaxPending(inFlight))
	if err != nil {
		b.Fatal(err)
	}
	data := collectOne(b, x)
	subject := Subject("north-field", Frame, "pad-radio")
	b.ReportAllocs()
	b.ResetTimer()
	for range b.N {
		if _, err := js.PublishAsync(subject, data, jetstream.WithStallWait(10*time.Second)); err != nil {
			b.Fatal(err)
		}
	}
	<-js.PublishAsyncComplete()
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "frames/s")
}

// collectOne is a frame's bytes as they stand in the stream.
func collectOne(b *testing.B, x *Bus) []byte {
	b.Helper()
	if err := x.PublishFrame(b.Context(), testFrame(1)); err != nil {
		b.Fatal(err)
	}
	return collect(b, x, 1, Consumer{})[0].Data
}

// BenchmarkConsume is the way out of the stream to a handler, in order.
func BenchmarkConsume(b *testing.B) {
	x := open(b, Options{Memory: true})
	for n := 1; n <= b.N; n++ {
		if err := x.PublishFrame(b.Context(), testFrame(uint64(n))); err != nil {
			b.Fatal(err)
		}
	}
	if err := x.Flush(b.Context()); err != nil {
		b.Fatal(err)
	}
	b.ResetTimer()
	collect(b, x, b.N, Consumer{})
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "frames/s")
}
