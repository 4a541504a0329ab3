package smooth_test

import (
	"math"
	"testing"

	"padlark/decode"
	"padlark/flight/ensemble"
	"padlark/flight/smooth"
)

// withoutRelease takes from every sample what tells of the release.
func withoutRelease(f *ensemble.Flight) {
	for i := range f.Samples {
		v := &f.Samples[i].Values
		values := append([]float64(nil), v.Values...)
		for k, n := range v.Names {
			if n == decode.ReleaseUs || n == decode.ReleaseOn || n == decode.Armed {
				values[k] = math.NaN()
			}
		}
		v.Values = values
	}
}

// TestUntoldRelease: a board that tells nothing of its release has its apogee
// worked out like any other. The live tracker sees such a release in the sink
// rate only, at times seconds late; a path that is held to that moment has been
// metres off at the top.
func TestUntoldRelease(t *testing.T) {
	for i := range uint64(12) {
		f, err := ensemble.Draw(ensemble.Nominal50(), 4, i)
		if err != nil {
			t.Fatal(err)
		}
		withoutRelease(&f)
		r, s, err := smooth.Analyse(smooth.Config{Session: "test", Rocket: f.Rocket, Site: f.Site}, f.Samples, nil, nil)
		if err != nil {
			t.Fatal(err)
		}
		tr := &f.Truth
		within(t, "apogee", r.ApogeeM, r.ApogeeSD, tr.ApogeeM, 3.5)
		within(t, "time to apogee", r.TimeToApogeeS, r.TimeToApogeeSD, tr.TimeToApogeeS(), 4.5)
		within(t, "sink rate", r.DescentMps, r.DescentSD, tr.DescentMps, 4.5)
		if s.ApogeeParts.Readings > 1 {
			t.Errorf("flight %d: the readings leave %.2f m open at the top", i, s.ApogeeParts.Readings)
		}
		if r.ReleaseLagS == nil || math.Abs(*r.ReleaseLagS-(tr.ReleaseS-tr.ApogeeS)) > 0.6 {
			t.Errorf("flight %d: released %.2f s after the apogee, true %.2f s", i, deref(r.ReleaseLagS), tr.ReleaseS-tr.ApogeeS)
		}
	}
}
