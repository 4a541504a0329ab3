package export

import (
	"context"
	"io"
	"math"
	"path/filepath"
	"testing"
	"time"

	"padlark/decode"
	"padlark/storage"
	"padlark/storage/sqlite"
)

// BenchmarkArchive exports 200 000 samples of five channels out of a real
// archive.
func BenchmarkArchive(b *testing.B) {
	const total = 200_000
	a, err := sqlite.Open(b.Context(), filepath.Join(b.TempDir(), sqlite.FileName), sqlite.Options{NoSync: true})
	if err != nil {
		b.Fatal(err)
	}
	defer a.Close()
	if err := a.StartSession(b.Context(), storage.Session{ID: "s1", Station: "north-field", Epoch: epoch}); err != nil {
		b.Fatal(err)
	}
	names := []string{decode.AccelMps2, decode.CellV, decode.PressurePa, decode.ReleaseUs, decode.TemperatureC}
	var rows sqlite.Rows
	for i := range total {
		at := epoch.Add(time.Duration(i) * 20 * time.Millisecond)
		rows.Samples = append(rows.Samples, decode.Sample{Session: "s1", Link: "pad-radio", N: uint64(i + 1), Rocket: "Teal", Boot: 1, Seq: int64(i), Clock: int64(i) * 20000,
			At: at, Heard: at.Add(25 * time.Millisecond), Values: decode.Channels{Names: names, Values: []float64{9.81 + math.Sin(float64(i)), 3.9, float64(1008000+i%400) / 10, 1500, 21.5}}})
	}
	if err := a.WriteRows(b.Context(), rows); err != nil {
		b.Fatal(err)
	}
	for name, format := range map[string]Format{"csv": writeCSV, "parquet": writeParquet, "line": lineProtocol} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if n, err := format(context.Background(), io.Discard, a, storage.Query{Session: "s1"}); err != nil || n != total {
					b.Fatal(n, err)
				}
			}
			b.ReportMetric(float64(b.N)*total*float64(len(names))/b.Elapsed().Seconds(), "values/s")
		})
	}
}
