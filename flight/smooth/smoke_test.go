package smooth_test

import (
	"testing"

	"padlark/flight/ensemble"
	"padlark/flight/smooth"
)

func TestSmoke(t *testing.T) {
	for _, spec := range []ensemble.Spec{ensemble.Nominal50(), ensemble.Slow10(), ensemble.Wide()} {
		for i := range 12 {
			f, err := ensemble.Draw(spec, 1, uint64(i))
			if err != nil {
				t.Fatal(err)
			}
			tr := &f.Truth
			t.Logf("%s %d %+v", spec.Name, i, f.Setup)
			r, s, err := smooth.Analyse(smooth.Config{Session: "s", Rocket: f.Rocket, Site: f.Site}, f.Samples, nil, nil)
			if err != nil {
				t.Log("   ERR", err)
				continue
			}
			p := func(name string, truth float64, v, sd *float64) {
				switch {
				case v == nil:
					t.Logf("   %-10s truth %.3f got nil", name, truth)
				case sd == nil:
					t.Logf("   %-10s truth %.3f got %.3f", name, truth, *v)
				default:
					t.Logf("   %-10s truth %.3f got %.3f ± %.3f  %5.1f", name, truth, *v, *sd, (*v-truth) / *sd)
				}
			}
			if r.ApogeeAt != nil {
				v := f.S(*r.ApogeeAt)
				p("apogee at", tr.ApogeeS, &v, &s.ApogeeTimeSD)
			}
			p("apogee m", tr.ApogeeM, r.ApogeeM, &s.ApogeeParts.Readings)
			p("to apogee", tr.ApogeeS-tr.LiftoffS, r.TimeToApogeeS, r.TimeToApogeeSD)
			p("max speed", tr.MaxSpeedMps, r.MaxSpeedMps, r.MaxSpeedSD)
			p("max accel", tr.MaxAccel, r.MaxAccelMps2, r.MaxAccelSD)
			p("burnout", tr.BurnoutS-tr.LiftoffS, r.BurnoutS, r.BurnoutSD)
			p("lag", tr.ReleaseS-tr.ApogeeS, r.ReleaseLagS, r.ReleaseLagSD)
			p("descent", tr.DescentMps, r.DescentMps, r.DescentSD)
			if r.TouchdownAt != nil {
				v := f.S(*r.TouchdownAt)
				p("touchdown", tr.TouchdownS, &v, nil)
			}
			t.Logf("   %s", r.Verdict)
		}
	}
}
