package tune

import "testing"

func FuzzStudyText(f *testing.F) {
	f.Add("drop,drop=1.5,n=3", "apogee=40:90,rate=50")
	f.Add("alpha-beta,smooth=9", "noise=,,")
	f.Fuzz(func(t *testing.T, rule, change string) {
		if n, err := parseRule(rule); err == nil && n.Family == 0 {
			t.Errorf("%q gives %+v", rule, n)
		}
		s := usual()
		if err := changeSpec(&s, change); err == nil && !(s.NoiseM.Lo > 0 && s.WaterM.Lo >= 3 && s.WaterM.Hi <= 3000) {
			t.Errorf("%q gives %+v", change, s)
		}
	})
}
