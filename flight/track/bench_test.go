package track_test

import (
	"testing"

	"padlark/flight/ensemble"
	"padlark/flight/track"
)

// BenchmarkSample is one sample at 50 Hz, pad, flight and landing in their
// usual shares.
func BenchmarkSample(b *testing.B) {
	f := draw(b, ensemble.Nominal50(), 2)
	cfg := track.Config{Session: "bench", Rocket: f.Rocket, Site: f.Site}
	tr := track.New(cfg)
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		if i == len(f.Samples) {
			i, tr = 0, track.New(cfg)
		}
		tr.Sample(&f.Samples[i])
		i++
	}
}
