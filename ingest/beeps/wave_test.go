package beeps

import (
	"math"
	"math/cmplx"
	"math/rand/v2"
	"testing"
)

// Where there are many samples, some are left out: a tone that is heard stays as loud
// as it was, and what would be folded onto one is 40 dB down.
func TestDecimator(t *testing.T) {
	for _, rate := range []int{44100, 48000, 96000, 192000} {
		for _, c := range []struct{ hz, least, most float64 }{{500, 0.99, 1.01}, {5990, 0.7, 1.05}, {10500, 0, 0.01}} {
			d := newDecimator(rate)
			in := make([]float64, rate/2)
			for i := range in {
				in[i] = math.Sin(2 * math.Pi * c.hz * float64(i) / float64(rate))
			}
			out := d.push(d.push(nil, in[:1001]), in[1001:])
			if low := float64(rate) / float64(d.by); low < leastRate || math.Abs(float64(len(out))-low/2) > float64(len(d.taps)) {
				t.Errorf("%d Hz: %d samples of half a second at %.0f Hz", rate, len(out), low)
			}
			sum := 0.0
			middle := out[len(out)/4 : len(out)*3/4]
			for _, v := range middle {
				sum += 2 * float64(v) * float64(v) / float64(len(middle))
			}
			if gain := math.Sqrt(sum); gain < c.least || gain > c.most {
				t.Errorf("%d Hz: a tone of %g Hz comes through by %.3f, want %g to %g", rate, c.hz, gain, c.least, c.most)
			}
		}
	}
}

// A tone whose pitch wanders by 8 Hz stands still in its strip: its phase changes by
// little within 160 ms, the length that is weighed at once.
func TestWaveStandsStill(t *testing.T) {
	const rate = 16000
	r := rand.New(rand.NewPCG(3, 4))
	phase := 0.0
	samples := make([]float64, 20*rate)
	for i := range samples {
		at := float64(i) / rate
		phase += 2 * math.Pi * (2500 + 8*math.Sin(0.8*at)) / rate
		samples[i] = 0.05 * r.NormFloat64()
		if math.Mod(at, 0.5) < 0.3 {
			samples[i] += 0.2 * math.Sin(phase)
		}
	}
	l, err := NewListener(rate)
	if err != nil {
		t.Fatal(err)
	}
	strips := append(l.Push(samples), l.End()...)
	if len(strips) != 1 {
		t.Fatalf("%d strips, want 1", len(strips))
	}
	whole, parts := 0.0, 0.0
	for at := 100; at < 1900; at += 50 {
		var sum complex128
		for _, z := range strips[0].Wave[at+2 : at+18] {
			sum, parts = sum+z, parts+cmplx.Abs(z)
		}
		whole += cmplx.Abs(sum)
	}
	if whole < 0.95*parts {
		t.Errorf("the sums of 16 steps are %.2f of what they would be in phase, want 0.95", whole/parts)
	}
}

// What a gust has clipped is known, at any rate.
func TestClips(t *testing.T) {
	for _, rate := range []float64{8000, 22050, 44100} {
		c := clips{slot: rate * StepMs / 1000}
		in := make([]float64, int(rate))
		for i := range in {
			if at := float64(i) / rate; at >= 0.5 && at < 0.6 && i%2 == 0 {
				in[i] = -1
			}
		}
		c.push(in[:333])
		c.push(in[333:])
		c.drop(20)
		for _, x := range []struct {
			row  int64
			want float64
		}{{30, 1}, {50, 0.5}, {55, 0.5}, {70, 1}} {
			if got := c.passed(x.row); math.Abs(got-x.want) > 0.02 {
				t.Errorf("%g Hz: %.2f passed at row %d, want %g", rate, got, x.row, x.want)
			}
		}
	}
}
