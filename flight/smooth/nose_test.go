package smooth

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestNosePulse: a pulse of a tenth of a second is found where it begins; noise, the
// round top, one reading that is off, a slow swing, and two pulses of which either may
// be the one are not taken for it, nor is one reading of a slow board.
func TestNosePulse(t *testing.T) {
	draw := func(seed uint64, rate float64, add func(s float64) float64) *readings {
		rng := rand.New(rand.NewPCG(seed, 1))
		r := &readings{}
		h, v := 80-gravity/2*16, gravity*4
		for k := range int(12 * rate) {
			s := float64(k)/rate - 4
			r.t, r.h = append(r.t, s), append(r.h, h+0.25*rng.NormFloat64()+add(s))
			for range 20 { // a canopy that fills within a second sinks at 5 m/s
				dt := 1 / rate / 20
				v += dt * (-gravity + gravity*v*v/25*sq(max(0, min(1, s-0.5))))
				h, s = h+dt*v, s+dt
			}
		}
		return r
	}
	pulse := func(from, m float64) func(float64) float64 {
		return func(s float64) float64 {
			if s < from || s > from+0.2 {
				return 0
			}
			return m * math.Exp(-3*(s-from)/0.1)
		}
	}
	none := func(float64) float64 { return 0 }
	for seed := range uint64(40) {
		for _, m := range []float64{-6, 5, 25} {
			at, ok := draw(seed, 50, pulse(0.3, m)).nosePulse(-1.7, 5, 0.0625)
			if !ok || math.Abs(at-0.3) > 0.03 {
				t.Errorf("seed %d: a pulse of %g m at 0.3 s was found: %v, at %.2f s", seed, m, ok, at)
			}
		}
		for what, r := range map[string]*readings{
			"noise":   draw(seed, 50, none),
			"a swing": draw(seed, 50, func(s float64) float64 { return math.Sin(2 * math.Pi * s) }),
			"one reading": draw(seed, 50, func(s float64) float64 {
				if math.Abs(s-0.3) < 0.005 {
					return 30
				}
				return 0
			}),
			"either of two": draw(seed, 50, func(s float64) float64 { return pulse(0.3, 6)(s) + pulse(2, -7)(s) }),
			"a slow board":  draw(seed, 10, pulse(0.3, 6)),
		} {
			if at, ok := r.nosePulse(-1.7, 5, 0.0625); ok {
				t.Errorf("seed %d: %s is taken for the pulse of a nose, at %.2f s", seed, what, at)
			}
		}
	}
}
