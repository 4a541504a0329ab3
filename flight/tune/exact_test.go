package tune

import (
	"math"
	"testing"
)

// exact computes, without drawing anything, the probability that a drop rule
// has released by each reading, when the readings are whole dPa of a known
// course with independent normal noise. It is the forward recursion of a
// Markov chain: its state is the highest height so far and how many readings
// in a row have been low enough.
//
// The board must be armed at the first reading, which is free of noise.
func exact(s Settings, course []float64, sd float64) []float64 {
	o := newBoard(s)
	o.reading(dPa(course[0] / 10))
	const low, high = -500, 10500 // cm that heights are kept within
	n := int(s.Samples)
	chance := make([][]float64, high-low) // by top - low, by count
	for i := range chance {
		chance[i] = make([]float64, n)
	}
	chance[-low][0] = 1
	released := []float64{0}
	done := 0.0
	for _, mean := range course[1:] {
		pmf := distribution(&o, mean, sd, low, high)
		next := make([][]float64, high-low)
		for i := range next {
			next[i] = make([]float64, n)
		}
		// cum is the chance of a height at most so much.
		cum := make([]float64, len(pmf)+1)
		for i, p := range pmf {
			cum[i+1] = cum[i] + p
		}
		var all float64 // chance of the tops below the present one
		for top := range chance {
			mass := 0.0
			for c, p := range chance[top] {
				if p == 0 {
					continue
				}
				mass += p
				limit := top - int(s.DropCm) // heights up to it are low enough
				below := 0.0
				if limit >= 0 {
					below = cum[limit+1]
				}
				if c+1 >= n {
					done += p * below
				} else {
					next[top][c+1] += p * below
				}
				next[top][0] += p * (cum[top+1] - below)
			}
			// A new highest: this height, from any lower top.
			next[top][0] += pmf[top] * all
			all += mass
		}
		chance = next
		released = append(released, done)
	}
	return released
}

// distribution is the chance of each height in cm, low at index 0, for a true
// pressure in dPa and noise of sd dPa that is then rounded.
func distribution(o *Board, mean, sd float64, low, high int) []float64 {
	pmf := make([]float64, high-low)
	phi := func(x float64) float64 { return 0.5 * math.Erfc(-x/math.Sqrt2) }
	for p := int32(mean - 8*sd - 1); p <= int32(mean+8*sd+1); p++ {
		w := phi((float64(p)+0.5-mean)/sd) - phi((float64(p)-0.5-mean)/sd)
		pmf[int(o.height(p))-low] += w
	}
	return pmf
}

// drawn is the same by drawing.
func drawn(s Settings, course []float64, sd float64, runs int, at []int) []Rate {
	first := make([]int, len(at))
	var o Board
	seed := uint64(88)
	for range runs {
		o.Start(&s)
		rng := newNoise(seed)
		seed++
		for i, mean := range course {
			p := mean
			if i > 0 {
				p += sd * rng.NormFloat64()
			}
			if o.Step(uint32(i*20), int32(math.Round(p))) == notYet {
				continue
			}
			for k, n := range at {
				if i <= n {
					first[k]++
				}
			}
			break
		}
	}
	out := make([]Rate, len(at))
	for k := range at {
		out[k] = newRate(first[k], runs)
	}
	return out
}

// Early releases against the exact computation: noise at rest, for which a
// drop of one reading has the plain recursion, and the same rules in flight.
func TestEarlyAgainstExact(t *testing.T) {
	rest := make([]float64, 300)
	climb := make([]float64, 250) // the last 4.4 s before apogee, 50 Hz, and 0.6 s after
	for i := range rest {
		rest[i] = 1005000
	}
	for i := range climb {
		d := float64(i-220) / 50
		climb[i] = 1005000 - 120.1*(94.9-9.80665/2*d*d)
	}
	for _, c := range []struct {
		name   string
		course []float64
		drop   int32
		n      uint8
		at     []int
	}{
		{"at rest", rest, 120, 1, []int{10, 50, 150, 299}},
		{"at rest", rest, 60, 2, []int{10, 50, 150, 299}},
		{"at rest", rest, 30, 4, []int{50, 150, 299}},
		{"in flight", climb, 100, 1, []int{200, 210, 220, 235, 249}},
		{"in flight", climb, 50, 3, []int{210, 220, 230, 249}},
	} {
		s := base()
		s.DropCm, s.Samples, s.ArmCm, s.ArmSamples = c.drop, c.n, 0, 1
		const sd = 30 // dPa, 0.25 m
		want := exact(s, c.course, sd)
		got := drawn(s, c.course, sd, 8000, c.at)
		for k, i := range c.at {
			// Four standard deviations: one false alarm in some 1000 runs of the test.
			tol := 4 * math.Sqrt(want[i]*(1-want[i])/float64(got[k].Of)+1e-9)
			if math.Abs(got[k].Share-want[i]) > tol {
				t.Errorf("%s, %v, by reading %d: drawn %.4f, exact %.4f, tolerance %.4f", c.name, s, i, got[k].Share, want[i], tol)
			}
			t.Logf("%s, %v, by reading %d: drawn %.4f, exact %.4f", c.name, s, i, got[k].Share, want[i])
		}
		if last := want[len(want)-1]; last < 0.01 {
			t.Errorf("%s, %v: exact chance %.4f is too small to check anything", c.name, s, last)
		}
	}
}
