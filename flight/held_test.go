package flight_test

import (
	"math"
	"testing"

	"padlark/decode"
	"padlark/flight/ensemble"
)

// TestHeldReadings: a board that sends 20 frames a second and measures 8 times, in steps
// of 3 or 10 Pa. In a fall an equal value is no measurement, however coarse the sensor:
// the apogee of a closed fall is called in time, and the alarm comes in the fall.
func TestHeldReadings(t *testing.T) {
	for _, step := range []float64{3, 10} {
		spec := ensemble.ForFaults()
		spec.WaterM, spec.NoneShare, spec.RateHz = ensemble.Range{Lo: 80, Hi: 200}, 1, []float64{20}
		for i := range 12 {
			f, err := ensemble.Draw(spec, 31, uint64(i))
			if err != nil {
				t.Fatal(err)
			}
			held, next := 0.0, 0.0
			for k := range f.Samples {
				v := &f.Samples[k].Values
				pa, _ := v.Get(decode.PressurePa)
				if at := f.S(f.Samples[k].At); at >= next {
					next += (math.Floor((at-next)*8) + 1) / 8
					held = math.Round(pa/step) * step
				}
				for j, name := range v.Names {
					if name == decode.PressurePa {
						v.Values[j] = held
					}
				}
			}
			if c := follow(&f); !(c.late > -0.1 && c.late < 0.8) {
				t.Errorf("steps of %g Pa, flight %d: the apogee was called %.2f s late", step, i, c.late)
			}
			raised, err := listen(&f, f.Truth.TouchdownS)
			if err != nil {
				t.Fatal(err)
			}
			found := false
			for _, r := range raised {
				found = found || r.alarm.Kind == "ballistic" && r.at > f.Truth.ApogeeS
			}
			if !found {
				t.Errorf("steps of %g Pa, flight %d: no ballistic in a fall from %.0f m", step, i, f.Truth.ApogeeM)
			}
		}
	}
}
