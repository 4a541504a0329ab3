package smooth_test

import (
	"math"
	"strings"
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

// TestDescentsNobodyCalled: a landing in whole metres that the live tracker did not see,
// and a large canopy for the last ten seconds of three minutes, are found by the readings.
func TestDescentsNobodyCalled(t *testing.T) {
	for _, c := range []struct {
		what string
		spec ensemble.Spec
		i    uint64
	}{
		{"a landing in whole metres", ensemble.Rough(), 111},
		{"a second canopy low down", ensemble.Contrary(), 107},
	} {
		f, err := ensemble.Draw(c.spec, 910, c.i)
		if err != nil {
			t.Fatal(err)
		}
		withoutRelease(&f)
		r, _, err := smooth.Analyse(smooth.Config{Rocket: f.Rocket, Site: f.Site}, f.Samples, nil, nil)
		if err != nil {
			t.Fatalf("%s: %v", c.what, err)
		}
		within(t, c.what+": sink rate", r.DescentMps, r.DescentSD, f.Truth.DescentMps, 3)
		if r.TouchdownAt == nil || math.Abs(f.S(*r.TouchdownAt)-f.Truth.TouchdownS) > 1.5 {
			t.Errorf("%s: touchdown %v, true %.1f s", c.what, r.TouchdownAt, f.Truth.TouchdownS)
		}
	}
}

// TestInferredBlameIsSure: two healthy flights of the contrary world whose readings make a
// release before the apogee likely (0.96 and 0.97 once): the verdict calls that open, and
// names no speed upward.
func TestInferredBlameIsSure(t *testing.T) {
	for _, i := range []uint64{37, 139} {
		f, err := ensemble.Draw(ensemble.Contrary(), 5501, i)
		if err != nil {
			t.Fatal(err)
		}
		withoutRelease(&f)
		r, _, err := smooth.Analyse(smooth.Config{Rocket: f.Rocket, Site: f.Site}, f.Samples, nil, nil)
		if err != nil {
			t.Fatal(err)
		}
		if strings.HasPrefix(r.Verdict, "bad") || strings.Contains(r.Verdict, "upward") {
			t.Errorf("flight %d, released %.1f s after the apogee: %s", i, f.Truth.ReleaseS-f.Truth.ApogeeS, r.Verdict)
		}
	}
}
