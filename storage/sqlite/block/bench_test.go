package block

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// flown is what a board at 50 Hz sends, with the noise of a radio link.
func flown(rows int) (*Frames, *Samples) {
	r := rand.New(rand.NewPCG(1, 2))
	f, s := &Frames{}, &Samples{}
	for i := range rows {
		n := int64(i)
		at := n*20_000_000 + 5_000_000
		heard := at + 27_000_000 + r.Int64N(2_000_000)
		passed := heard + 1000 + r.Int64N(40_000)
		p := math.Round((100800+40*math.Sin(float64(i)/90)+r.NormFloat64()*3)*10) / 10
		line := fmt.Sprintf("$PLRK,7,1,%d,%d,%.0f,%d,%d,,2*%02X", i, i*20, p, 2150+i/900, 4010-i/4000, r.IntN(256))
		f.N, f.Mono, f.Passed = append(f.N, n+1), append(f.Mono, heard), append(f.Passed, passed)
		f.Ord, f.Off, f.Wire, f.Baud = append(f.Ord, 2*n), append(f.Off, 0), append(f.Wire, int64(len(line)+2)), append(f.Baud, 57600)
		f.Bytes = append(f.Bytes, []byte(line))
		s.N, s.Boot, s.Seq, s.Clock = append(s.N, n+1), append(s.Boot, 1), append(s.Seq, n), append(s.Clock, n*20_000)
		s.At, s.Mono, s.Passed = append(s.At, at), append(s.Mono, heard), append(s.Passed, passed)
		for k, v := range []float64{p, float64(2150+i/900) / 100, float64(4010-i/4000) / 1000, 0, 1} {
			s.Channel([]string{"pressure_pa", "temperature_c", "cell_v", "release_on", "armed"}[k], k).Put(i, v)
		}
	}
	return f, s
}

func BenchmarkEncode(b *testing.B) {
	c := codec(b)
	for _, rows := range []int{4, 100, 4096} {
		f, s := flown(rows)
		b.Run(fmt.Sprintf("frames=%d", rows), func(b *testing.B) {
			size := 0
			for b.Loop() {
				data, err := c.EncodeFrames(f)
				if err != nil {
					b.Fatal(err)
				}
				size = len(data)
			}
			report(b, rows, size)
		})
		b.Run(fmt.Sprintf("samples=%d", rows), func(b *testing.B) {
			size := 0
			for b.Loop() {
				data, err := c.EncodeSamples(s)
				if err != nil {
					b.Fatal(err)
				}
				size = len(data)
			}
			report(b, rows, size)
		})
	}
}

func report(b *testing.B, rows, size int) {
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N*rows), "ns/row")
	b.ReportMetric(float64(size)/float64(rows), "bytes/row")
}

func BenchmarkDecode(b *testing.B) {
	c := codec(b)
	const rows = 4096
	f, s := flown(rows)
	frames, err := c.EncodeFrames(f)
	if err != nil {
		b.Fatal(err)
	}
	samples, err := c.EncodeSamples(s)
	if err != nil {
		b.Fatal(err)
	}
	b.Run("frames", func(b *testing.B) {
		for b.Loop() {
			if err := c.DecodeFrames(frames, f); err != nil {
				b.Fatal(err)
			}
		}
		report(b, rows, len(frames))
	})
	b.Run("samples", func(b *testing.B) {
		for b.Loop() {
			if err := c.DecodeSamples(samples, s); err != nil {
				b.Fatal(err)
			}
		}
		report(b, rows, len(samples))
	})
	b.Run("channel", func(b *testing.B) {
		var at []int64
		var p []float64
		for b.Loop() {
			v, err := c.OpenSamples(samples)
			if err != nil {
				b.Fatal(err)
			}
			at = v.At(at)
			p, _ = v.Channel("pressure_pa", p)
			if v.Err() != nil {
				b.Fatal(v.Err())
			}
			v.Close()
		}
		report(b, rows, len(samples))
	})
}
