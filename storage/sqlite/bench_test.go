package sqlite

import (
	"testing"

	"padlark/ingest"
	"padlark/storage"
)

// benchBatch is what a second of a busy field brings.
const benchBatch = 2000

// batch makes the entries of benchBatch/2 frames and their samples.
func batch(b *testing.B, round int) []storage.Entry {
	out := make([]storage.Entry, 0, benchBatch)
	for i := range benchBatch / 2 {
		n := uint64(round*benchBatch/2 + i + 1)
		out = append(out, entry(b, 2*n-1, testFrame("pad-radio", n)), entry(b, 2*n, testSample("Teal", "pad-radio", n)))
	}
	return out
}

// BenchmarkWrite is the archive's whole work from entries to a commit on the disk.
func BenchmarkWrite(b *testing.B) {
	a := openNew(b)
	batches := make([][]storage.Entry, b.N)
	for i := range batches {
		batches[i] = batch(b, i)
	}
	b.ReportAllocs()
	b.ResetTimer()
	for _, ms := range batches {
		if err := a.Write(b.Context(), ms); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N)*benchBatch/b.Elapsed().Seconds(), "rows/s")
}

func BenchmarkReadFrames(b *testing.B) {
	a := openNew(b)
	for i := range 20 {
		if err := a.Write(b.Context(), batch(b, i)); err != nil {
			b.Fatal(err)
		}
	}
	n := 0
	b.ResetTimer()
	for range b.N {
		if err := a.Frames(b.Context(), storage.Query{Session: "s1", Recorded: true}, func(ingest.Frame) error { n++; return nil }); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(n)/b.Elapsed().Seconds(), "frames/s")
}

func BenchmarkReadSamples(b *testing.B) {
	a := openNew(b)
	for i := range 20 {
		if err := a.Write(b.Context(), batch(b, i)); err != nil {
			b.Fatal(err)
		}
	}
	b.ResetTimer()
	for range b.N {
		if err := a.Samples(b.Context(), storage.Query{}, ignoreSample); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N)*20*benchBatch/2/b.Elapsed().Seconds(), "samples/s")
}
