package flight_test

import (
	"math"
	"testing"

	"padlark/decode"
	"padlark/flight/ensemble"
)

// TestBarometersLie: whatever one of two barometers says, the apogee is called as well
// as with the other alone, and it is left out.
func TestBarometersLie(t *testing.T) {
	lies := []struct {
		name string
		of   func(pa, was, since float64) float64 // Pa, the reading before, s since the liftoff
	}{
		{"stuck in the climb", func(pa, was, since float64) float64 {
			if since > 0.6 {
				return was
			}
			return pa
		}},
		{"steps by 300 Pa", func(pa, _, since float64) float64 {
			if since > 0.5 {
				return pa + 300
			}
			return pa
		}},
		{"garbage", func(pa, was, since float64) float64 {
			if since > 0.4 && math.Mod(since, 0.3) < 0.15 {
				return 0
			}
			return pa
		}},
		{"leaps to and fro", func(pa, _, since float64) float64 {
			if since > 0.4 {
				return pa + 400*math.Copysign(1, math.Sin(9*since))
			}
			return pa
		}},
		{"dies at the liftoff", func(pa, _, since float64) float64 {
			if since > 0 {
				return math.NaN()
			}
			return pa
		}},
		{"stuck on the pad", func(pa, was, since float64) float64 {
			if since > -4 {
				return was
			}
			return pa
		}},
		{"steps on the pad", func(pa, _, since float64) float64 {
			if since > -3 {
				return pa - 500
			}
			return pa
		}},
	}
	spec := ensemble.Slow10()
	spec.Parametric, spec.PadS, spec.CutS, spec.PairM = true, ensemble.Range{Lo: 12, Hi: 13}, 3, 0.4
	spec.RateHz = []float64{50}
	for i := range 12 {
		for _, channel := range []string{decode.PressurePa, decode.Pressure2Pa} {
			alone := math.NaN()
			for k := range len(lies) + 1 {
				f, err := ensemble.Draw(spec, 7, uint64(i))
				if err != nil {
					t.Fatal(err)
				}
				was := math.NaN()
				for n := range f.Samples {
					v := &f.Samples[n].Values
					for j, name := range v.Names {
						switch {
						case name != channel:
						case k == 0:
							v.Values[j] = math.NaN()
						default:
							was = lies[k-1].of(v.Values[j], was, f.S(f.Samples[n].At)-f.Truth.LiftoffS)
							v.Values[j] = was
						}
					}
				}
				c := follow(&f)
				if k == 0 {
					alone = c.late
				} else if !(c.late > -0.1 && c.late < alone+0.1) {
					t.Errorf("flight %d, %s %s: called %.2f s late, %.2f s with the other alone", i, channel, lies[k-1].name, c.late, alone)
				}
			}
		}
	}
}
