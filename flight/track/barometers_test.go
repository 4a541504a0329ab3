package track_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"padlark/decode"
	"padlark/flight/track"
)

// TestBarometersWeigh: each of two barometers counts by its noise, whatever the level by
// which they differ: the pressure that is made has the noise that the weighted mean has
// (1/(1/a² + 1/b²), of any handbook on errors).
func TestBarometersWeigh(t *testing.T) {
	for _, c := range []struct{ a, b float64 }{{3, 3}, {2, 6}, {8, 2}} {
		r := rand.New(rand.NewPCG(1, 2))
		var pair track.Barometers
		start := time.Date(2031, 6, 1, 9, 0, 0, 0, time.UTC)
		sum, n := 0.0, 0.0
		for i := range 6000 {
			s := decode.Sample{At: start.Add(time.Duration(i) * 20 * time.Millisecond), Values: decode.Channels{
				Names:  []string{decode.PressurePa, decode.Pressure2Pa},
				Values: []float64{98000 + c.a*r.NormFloat64(), 98080 + c.b*r.NormFloat64()},
			}}
			sent := s.Values.Values[0]
			before := s.Values.Values
			if out := pair.Fuse(&s); out != "" {
				t.Fatalf("frame %d: %s is left out", i, out)
			}
			if before[0] != sent {
				t.Fatal("the caller's values were written to")
			}
			if i > 2000 {
				v, _ := s.Values.Get(decode.PressurePa)
				sum, n = sum+(v-98000)*(v-98000), n+1
			}
		}
		got, want := math.Sqrt(sum/n), 1/math.Hypot(1/c.a, 1/c.b)
		if math.Abs(got/want-1) > 0.12 {
			t.Errorf("%g and %g Pa: %.2f Pa rms, want %.2f", c.a, c.b, got, want)
		}
	}
}

// TestBarometersSay: the one that lies is named, and heard again once it agrees.
func TestBarometersSay(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	var pair track.Barometers
	start := time.Date(2031, 6, 1, 9, 0, 0, 0, time.UTC)
	said := map[string]float64{} // s
	for i := range 2500 {
		at := float64(i) / 50
		second := 98010 + 2*r.NormFloat64()
		if at > 20 && at < 22 {
			second -= 400
		}
		s := decode.Sample{At: start.Add(time.Duration(i) * 20 * time.Millisecond), Values: decode.Channels{
			Names:  []string{decode.PressurePa, decode.Pressure2Pa},
			Values: []float64{98000 + 2*r.NormFloat64(), second},
		}}
		said[pair.Fuse(&s)] += 0.02
		if v, _ := s.Values.Get(decode.PressurePa); math.Abs(v-98000) > 15 {
			t.Fatalf("%.1f s: %.1f Pa", at, v)
		}
	}
	if s := said[decode.Pressure2Pa]; s < 2 || s > 3.5 || said[decode.PressurePa] > 0 {
		t.Errorf("left out, in s: %v; want the second for 2 to 3.5", said)
	}
	one := decode.Sample{At: start, Values: decode.Channels{Names: []string{decode.PressurePa}, Values: []float64{98000}}}
	if out := pair.Fuse(&one); out != "" || one.Values.Values[0] != 98000 {
		t.Error("a sample without a second barometer was changed")
	}
}
