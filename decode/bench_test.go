package decode

import (
	"testing"
	"time"

	"padlark/ingest"
)

// benchFrames are frames of one board at 50 a second.
func benchFrames(b *testing.B, p *Program, n int) []ingest.Frame {
	b.Helper()
	bd := &board{p: p, rocket: 7, boot: 1}
	out := make([]ingest.Frame, n)
	for i := range out {
		out[i] = bd.say(b, "pad", i, time.Duration(i)*20*time.Millisecond, 0)
	}
	return out
}

func benchDecode(b *testing.B, text, layout string, p *Program) {
	fs := benchFrames(b, p, 20000)
	d := station(b, text, layout)
	b.ReportAllocs()
	b.ResetTimer()
	for i := range b.N {
		if i%len(fs) == 0 {
			b.StopTimer()
			d = station(b, text, layout)
			b.StartTimer()
		}
		if _, err := d.Decode(fs[i%len(fs)]); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "frames/s")
}

func BenchmarkLarkText(b *testing.B) { benchDecode(b, "", "lark-text", builtin(b, "lark-text")) }
func BenchmarkLarkBin(b *testing.B)  { benchDecode(b, "", "lark-bin", builtin(b, "lark-bin")) }
func BenchmarkDelimited(b *testing.B) {
	benchDecode(b, shortLayout, "csv", compileNamed(b, shortLayout, "csv"))
}
func BenchmarkRawCounts(b *testing.B) {
	p := compile(b, rawLayout)
	fs, err := p.Encode(nil, Message{Rocket: 7, Values: map[string]float64{PressurePa: 98765.4, TemperatureC: 17.25}})
	if err != nil {
		b.Fatal(err)
	}
	d := station(b, rawLayout, "raw")
	b.ReportAllocs()
	for i := range b.N {
		if _, err := d.Decode(frame("pad", i, time.Duration(i)*time.Millisecond, fs)); err != nil {
			b.Fatal(err)
		}
	}
}

// TestAllocations: the values of the sample are all that is allocated for a
// frame.
func TestAllocations(t *testing.T) {
	for _, c := range []struct{ text, layout string }{{"", "lark-text"}, {"", "lark-bin"}, {shortLayout, "csv"}, {shortLayout, "short"}} {
		var p *Program
		if c.text == "" {
			p = builtin(t, c.layout)
		} else {
			p = compileNamed(t, c.text, c.layout)
		}
		bd := &board{p: p, rocket: 7, boot: 1}
		var fs []ingest.Frame
		for i := range 3000 {
			fs = append(fs, bd.say(t, "pad", i, time.Duration(i)*20*time.Millisecond, 0))
		}
		d := station(t, c.text, c.layout)
		i := 0
		got := testing.AllocsPerRun(2000, func() {
			if _, err := d.Decode(fs[i]); err != nil {
				t.Fatal(err)
			}
			i++
		})
		want := 1.0
		if len(p.Channels()) == 0 {
			want = 0
		}
		if got > want {
			t.Errorf("%s: %v allocations a frame, want %v", c.layout, got, want)
		}
	}
}
