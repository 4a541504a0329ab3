package beeps

import (
	"math"
	"math/rand/v2"
	"testing"

	"padlark/ingest/beeps"
)

// Where a stretch leaves more than the noise that is known beside a steady tone, as a
// voice or a step does, it says less for a beep than as strong a tone in that noise.
// A tone in its noise, and the noise alone, say what they said.
func TestLouderThanTheNoise(t *testing.T) {
	const rows, amplitude = 12, 3.0
	r := rand.New(rand.NewPCG(1, 16))
	draw := func(spread float64) beeps.Strip {
		s := beeps.Strip{DB: make([]float64, rows), NoiseDB: make([]float64, rows), Wave: make([]complex128, rows)}
		var mean complex128
		for i := range s.Wave {
			s.Wave[i] = complex(r.NormFloat64(), r.NormFloat64()) * complex(spread/math.Sqrt2, 0)
			mean += s.Wave[i] / rows
		}
		for i := range s.Wave { // the tone that fits is the same in all
			s.Wave[i] += amplitude - mean
		}
		return s
	}
	var said [3]float64
	const times = 200
	for range times {
		for i, spread := range []float64{0, 1, 3} {
			s := draw(spread)
			said[i] += hear(&s, amplitude*amplitude).piece(0, rows) / times
		}
	}
	if even, usual, loud := said[0], said[1], said[2]; usual < 0.9*even || loud > 0.5*even || loud < 0 {
		t.Errorf("a beep says %.1f nats without noise, %.1f in the usual and %.1f in a louder one", even, usual, loud)
	}
}
