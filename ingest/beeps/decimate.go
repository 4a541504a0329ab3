package beeps

import "math"

// decimator leaves out samples where there are many more than the highest tone
// needs: of those that stay, each is a weighted mean of its surroundings.
type decimator struct {
	by    int
	taps  []float64
	past  []float64 // the samples that the next mean begins with
	phase int       // samples to come before the next mean
}

func newDecimator(rate int) decimator {
	d := decimator{by: max(1, int(float64(rate)/leastRate))}
	if d.by == 1 {
		return d
	}
	// A sinc under a Hamming window: what would be folded onto tones is 50 dB down.
	low := float64(rate) / float64(d.by)
	n := int(3.3*float64(rate)/(low-2*highestHz)) | 1
	sum := 0.0
	for i := range n {
		x := float64(i - n/2)
		v := low / float64(rate)
		if x != 0 {
			v = math.Sin(math.Pi*x*low/float64(rate)) / (math.Pi * x)
		}
		v *= 0.54 + 0.46*math.Cos(2*math.Pi*x/float64(n))
		d.taps = append(d.taps, v)
		sum += v
	}
	for i := range d.taps {
		d.taps[i] /= sum
	}
	d.reset()
	return d
}

func (d *decimator) reset() {
	d.past, d.phase = d.past[:0], 0
	if d.by > 1 {
		d.past = append(d.past, make([]float64, len(d.taps)/2)...) // so that nothing is late
	}
}

// push appends what becomes of the samples.
func (d *decimator) push(out []float32, samples []float64) []float32 {
	if d.by == 1 {
		for _, v := range samples {
			out = append(out, float32(v))
		}
		return out
	}
	d.past = append(d.past, samples...)
	at := d.phase
	for ; at+len(d.taps) <= len(d.past); at += d.by {
		sum := 0.0
		for i, v := range d.past[at : at+len(d.taps)] {
			sum += v * d.taps[i]
		}
		out = append(out, float32(sum))
	}
	used := min(at, len(d.past))
	d.past, d.phase = d.past[:copy(d.past, d.past[used:])], at-used
	return out
}
