package beeps_test

import (
	"math"

	hear "padlark/ingest/beeps"
)

// oracleSure is from which margin the oracle is sure, in nats: as the reader is where
// nothing is heard between the beeps.
const oracleSure = 4.5

// known is by how much the true number is likelier than one with a beep more or less
// in one of its groups, in nats, for an oracle: it knows when each beep begins and
// ends, when one more would, and how loud they are, and hears what the strip holds.
// It compares only a beep more or less at a group's end, and takes the noise for what
// the strip says: a bound for most recordings, not for each.
func (m *made) known(strips []hear.Strip) (margin float64, found bool) {
	for _, s := range strips {
		if math.Abs(float64(s.PitchHz)-m.pitch) < 50 && len(s.DB)*hear.StepMs >= 900*len(m.pcm)/m.rate {
			return m.knownIn(&s), true
		}
	}
	return 0, false
}

// blockMs is the middle of a strip's first step.
const blockMs = 30

func (m *made) knownIn(s *hear.Strip) float64 {
	step := func(t float64) int {
		return max(0, min(len(s.DB), int(math.Round((1000*t-blockMs)/hear.StepMs+0.5))))
	}
	level := 0.0
	// weigh is what speaks for a beep (Rice's density with a known level over
	// Rayleigh's; pieces of at most 160 ms are as long as the pitch is steady).
	weigh := func(from, to float64) (sum, power, all float64) {
		a, b := step(from), step(to)
		n := (b - a + 15) / 16
		for k := range n {
			var z complex128
			w := 0.0
			for i := a + k*(b-a)/n; i < a+(k+1)*(b-a)/n; i++ {
				v := math.Pow(10, s.NoiseDB[i]/10)
				z, w = z+s.Wave[i]/complex(v, 0), w+1/v
			}
			r := math.Hypot(real(z), imag(z))
			power, all = power+r*r/w-1, all+w
			x := 2 * math.Sqrt(level) * r
			sum += x - 0.5*math.Log1p(2*math.Pi*x) - level*w
		}
		return sum, power, all
	}
	power, all := 0.0, 0.0
	m.each(func(_, _ int, from, to, _ float64) {
		_, p, w := weigh(from, to)
		power, all = power+p, all+w
	})
	level = max(0.01, power/all)
	less, more := map[int]float64{}, map[int]float64{}
	m.each(func(group, count int, from, to, period float64) {
		if count > 1 {
			was, _, _ := weigh(from, to)
			less[group] += was
		}
		if count < 10 {
			is, _, _ := weigh(from+period, to+period)
			more[group] -= is
		}
	})
	margin := math.Inf(1)
	for _, x := range []map[int]float64{less, more} {
		for _, v := range x {
			margin = min(margin, v)
		}
	}
	return margin
}

// each calls f for the last beep of each group of each reading that is heard: which
// group it is, of how many beeps, when it is and how far its beeps are apart, in s.
func (m *made) each(f func(group, count int, from, to, period float64)) {
	at, group, count, before := -m.begin, 0, 0, 0.0
	for _, x := range m.score {
		switch {
		case x.beep > 0:
			count++
			period := at - before
			if count == 1 {
				period = x.s + m.board.inner*m.pace
			}
			if before = at; x.beep == 2 {
				if at >= 0 {
					f(group, count, at, at+x.s, period)
				}
				group, count = group+1, 0
			}
		case !x.on && x.s > 1.6*m.board.group*m.pace:
			group = 0
		}
		at += x.s
	}
}
