package export

import (
	"io"
	"testing"
	"time"

	"padlark/decode"
	"padlark/storage"
)

// recorded are samples as lark-bin gives them: six channels that change as a
// sensor's do.
func recorded(n int) list {
	at := time.Date(2031, 5, 17, 9, 0, 0, 0, time.UTC)
	out := make(list, n)
	for i := range out {
		when := at.Add(time.Duration(i) * 20 * time.Millisecond)
		out[i] = decode.Sample{
			Session: "20310517-090000-abcd", Rocket: "Teal", Link: "pad-radio", N: uint64(i + 1), Boot: 1, Seq: int64(i),
			Clock: int64(i) * 20000, At: when, Heard: when.Add(8 * time.Millisecond),
			Values: decode.Channels{
				Names:  []string{decode.PressurePa, decode.TemperatureC, decode.CellV, decode.ReleaseUs, decode.ReleaseOn, decode.Armed},
				Values: []float64{101325 - float64(i%977)/10, 20 + float64(i%100)/100, 4.1 - float64(i%50)/1000, 1000, 0, float64(i % 2)},
			},
		}
	}
	return out
}

// The encoders alone, without the archive that the samples come from.
func BenchmarkExport(b *testing.B) {
	in := recorded(50_000)
	values := float64(len(in) * len(in[0].Values.Values))
	for _, name := range []string{"csv", "parquet"} {
		write, err := Lookup(name)
		if err != nil {
			b.Fatal(err)
		}
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if _, err := write(b.Context(), io.Discard, in, storage.Query{}); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.N)*values/b.Elapsed().Seconds(), "values/s")
		})
	}
}
