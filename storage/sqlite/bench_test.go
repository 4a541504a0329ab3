package sqlite

import (
	"path/filepath"
	"testing"

	"padlark/bus"
	"padlark/ingest"
)

// benchBatch is what a second of a busy field brings.
const benchBatch = 2000

// batch makes the messages of benchBatch/2 frames and their samples.
func batch(b *testing.B, round int) []bus.Msg {
	out := make([]bus.Msg, 0, benchBatch)
	for i := range benchBatch / 2 {
		n := uint64(round*benchBatch/2 + i + 1)
		out = append(out, message(b, 2*n-1, testFrame("pad-radio", n)), message(b, 2*n, testSample("Teal", "pad-radio", n)))
	}
	return out
}

// BenchmarkWrite is the archive's whole work from JSON to a commit on the disk.
// BenchmarkWritePlain beside it is a bare loop over the same rows and tables:
// prepared statements, one transaction a batch, values ready made.
func BenchmarkWrite(b *testing.B) {
	a := openNew(b)
	batches := make([][]bus.Msg, b.N)
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

func BenchmarkWritePlain(b *testing.B) {
	path := filepath.Join(b.TempDir(), FileName)
	a, err := Open(path, Options{})
	if err != nil {
		b.Fatal(err)
	}
	if err := a.Close(); err != nil {
		b.Fatal(err)
	}
	db := rawDB(b, path)
	defer db.Close()
	for _, q := range []string{"PRAGMA synchronous = FULL",
		"INSERT INTO sessions (id, name, station, epoch_ns, started_ns) VALUES (1, 's1', '', 0, 0)",
		"INSERT INTO links (id, session, name, baud) VALUES (1, 1, 'pad-radio', 9600)",
		"INSERT INTO rockets (id, session, name) VALUES (1, 1, 'Teal')"} {
		if _, err := db.Exec(q); err != nil {
			b.Fatal(err)
		}
	}
	frame, err := db.Prepare(insertFrame)
	if err != nil {
		b.Fatal(err)
	}
	sample, err := db.Prepare(insertSample)
	if err != nil {
		b.Fatal(err)
	}
	f := testFrame("pad-radio", 1)
	var s [11 + nColumns]any
	m := testSample("Teal", "pad-radio", 1)
	if s[10+nColumns], err = split(m.Values, s[10:10+nColumns]); err != nil {
		b.Fatal(err)
	}
	b.ResetTimer()
	for round := range b.N {
		if _, err := db.Exec("BEGIN IMMEDIATE"); err != nil {
			b.Fatal(err)
		}
		for i := range benchBatch / 2 {
			n := int64(round*benchBatch/2 + i + 1)
			if _, err := frame.Exec(1, n, n*50e6, n*50e6+1500, 2*n-1, nil, f.Wire, nil, nil, f.Bytes); err != nil {
				b.Fatal(err)
			}
			s[0], s[1], s[2], s[3], s[4], s[5], s[6], s[7], s[8] = 1, 1, n, 2, n-1, n*50e3, n*50e6-27e6, n*50e6, n*50e6+1500
			if _, err := sample.Exec(s[:]...); err != nil {
				b.Fatal(err)
			}
		}
		if _, err := db.Exec("COMMIT"); err != nil {
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
		if err := a.Frames(b.Context(), "s1", FrameFilter{}, func(ingest.Frame) error { n++; return nil }); err != nil {
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
		if err := a.Samples(b.Context(), Query{}, ignoreSample); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N)*20*benchBatch/2/b.Elapsed().Seconds(), "samples/s")
}
