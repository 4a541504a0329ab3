package model

import "testing"

// teal is a two-litre rocket of our own.
func teal() (Rocket, Launch) {
	return Rocket{Volume: 2e-3, Nozzle: 0.0217, Dry: 0.150, Diameter: 0.09, Cd: 0.5, Parachute: 0.6,
			Release: Release{AfterApogee, 0.3}},
		Launch{Fraction: 1.0 / 3, Gauge: 5e5, Rail: 0.3, Tilt: 0.05, Wind: 2}
}

func TestFlyTeal(t *testing.T) {
	r, l := teal()
	r.Tube, r.TubeLength = 0.0213, 0.25
	tr, err := Fly(r, l)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%+v", tr.Marks)
	t.Log(tr.MaxSpeed, tr.MaxSpeedT, tr.MaxAccel, len(tr.segments))
}

func BenchmarkFly(b *testing.B) {
	r, l := teal()
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Fly(r, l); err != nil {
			b.Fatal(err)
		}
	}
}
