package flight_test

import (
	"math"
	"testing"

	"padlark/decode"
	"padlark/flight/ensemble"
)

// TestAccelerometersLie: whatever an accelerometer says, the apogee is called as well as
// without one: where it sends a size without a sign, is mounted upside down, sticks
// after the burnout at what a motor would push with, or is dead.
func TestAccelerometersLie(t *testing.T) {
	lies := []struct {
		name string
		of   func(v float64, since float64) float64 // m/s2, s since the burnout
	}{
		{"size", func(v, _ float64) float64 { return math.Abs(v) }},
		{"upside down", func(v, _ float64) float64 { return -v }},
		{"stuck", func(v, since float64) float64 {
			if since > 0.3 {
				return 60
			}
			return v
		}},
		{"dead", func(_, _ float64) float64 { return 0 }},
		{"three axes askew", nil},
	}
	spec := ensemble.Slow10()
	spec.Parametric, spec.PadS, spec.CutS, spec.AccelShare = true, ensemble.Range{Lo: 8, Hi: 9}, 3, 1
	spec.RateHz = []float64{50}
	const flights = 15
	for i := range flights {
		var without float64
		for k := range len(lies) + 1 {
			f, err := ensemble.Draw(spec, 7, uint64(i))
			if err != nil {
				t.Fatal(err)
			}
			for n := range f.Samples {
				v := &f.Samples[n].Values
				j := 0
				for v.Names[j] != decode.AccelMps2 {
					j++
				}
				names, values := append(v.Names[:j:j], v.Names[j+1:]...), append(v.Values[:j:j], v.Values[j+1:]...)
				switch {
				case k == 0:
					v.Names, v.Values = names, values
				case lies[k-1].of == nil:
					a := v.Values[j]
					v.Names = append(names, decode.AccelXMps2, decode.AccelYMps2, decode.AccelZMps2)
					v.Values = append(values, -0.6*a, 0.64*a, -0.48*a)
				default:
					v.Values[j] = lies[k-1].of(v.Values[j], f.S(f.Samples[n].At)-f.Truth.BurnoutS)
				}
			}
			c := follow(&f)
			if k == 0 {
				without = c.late
				continue
			}
			if !(c.late > -0.1 && c.late < without+0.05) {
				t.Errorf("flight %d, %s: called %.2f s late, %.2f s without an accelerometer", i, lies[k-1].name, c.late, without)
			}
		}
	}
}
