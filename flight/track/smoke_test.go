package track_test

import (
	"testing"

	"padlark/flight/ensemble"
	"padlark/flight/track"
)

func TestSmoke(t *testing.T) {
	for _, spec := range []ensemble.Spec{ensemble.Nominal50(), ensemble.Slow10(), ensemble.Wide()} {
		for i := range 12 {
			f, err := ensemble.Draw(spec, 1, uint64(i))
			if err != nil {
				t.Fatal(err)
			}
			tr := track.New(track.Config{Session: "s", Rocket: f.Rocket, Site: f.Site})
			t.Logf("%s %d truth: lift %.2f burn %.2f apo %.2f (%.1f m) rel %.2f td %.2f %+v", spec.Name, i, f.Truth.LiftoffS, f.Truth.BurnoutS, f.Truth.ApogeeS, f.Truth.ApogeeM, f.Truth.ReleaseS, f.Truth.TouchdownS, f.Setup)
			for k := range f.Samples {
				for _, e := range tr.Sample(&f.Samples[k]) {
					h := 0.0
					if e.AltitudeM != nil {
						h = *e.AltitudeM
					}
					t.Logf("   %-10s at %.3f ±%.3f called %.3f h %.2f %s", e.Kind, f.S(e.At), *e.AtSD, f.S(e.CalledAt), h, e.Note)
				}
			}
		}
	}
}
