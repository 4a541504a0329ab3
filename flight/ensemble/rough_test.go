package ensemble

import (
	"math"
	"slices"
	"testing"

	"padlark/decode"
)

// TestRoughIsAWorld: the rough ensemble contains what it says, the same on each
// draw, and its flights are healthy.
func TestRoughIsAWorld(t *testing.T) {
	var untold, metres, axes, gps, two, bare, noTemp int
	const n = 300
	for i := range uint64(n) {
		f, err := Draw(Rough(), 5, i)
		if err != nil {
			t.Fatal(err)
		}
		u := &f.Truth
		if lag := u.ReleaseS - u.ApogeeS; !(lag > -0.05 && lag < 1) {
			t.Errorf("flight %d is released %.2f s after its apogee", i, lag)
		}
		if !(u.OutS > u.ReleaseS && u.OpenS > u.OutS && u.TouchdownS > u.OpenS) {
			t.Errorf("flight %d: released %.2f, out %.2f, open %.2f, down %.2f", i, u.ReleaseS, u.OutS, u.OpenS, u.TouchdownS)
		}
		if v := u.DescentMps; !(v > 1.5 && v < 12) {
			t.Errorf("flight %d sinks at %.1f m/s", i, v)
		}
		names := f.Samples[0].Values.Names
		count := func(to *int, is bool) {
			if is {
				*to++
			}
		}
		count(&untold, !slices.Contains(names, decode.ReleaseOn))
		count(&metres, names[0] == decode.AltitudeM)
		count(&axes, slices.Contains(names, decode.AccelXMps2))
		count(&gps, slices.Contains(names, decode.GPSAltitudeM))
		count(&two, !math.IsNaN(u.SecondS))
		count(&bare, f.Rocket.MassKg == 0)
		count(&noTemp, f.Site.TemperatureC == nil)
	}
	for _, c := range []struct {
		what     string
		n        int
		from, to int
	}{
		{"untold", untold, 90, 150}, {"metres", metres, 20, 55}, {"axes", axes, 30, 80}, {"gps", gps, 30, 80},
		{"two canopies", two, 10, 60}, {"not described", bare, 90, 150}, {"no temperature", noTemp, 110, 190},
	} {
		if c.n < c.from || c.n > c.to {
			t.Errorf("%s: %d of %d flights, want %d to %d", c.what, c.n, n, c.from, c.to)
		}
	}
}

func TestRoughIsTheSameOnEachDraw(t *testing.T) {
	for _, i := range []uint64{0, 7, 40} {
		a, err := Draw(Rough(), 3, i)
		if err != nil {
			t.Fatal(err)
		}
		b, _ := Draw(Rough(), 3, i)
		if len(a.Samples) != len(b.Samples) {
			t.Fatalf("flight %d: %d and %d samples", i, len(a.Samples), len(b.Samples))
		}
		for k := range a.Samples {
			if !slices.Equal(a.Samples[k].Values.Values, b.Samples[k].Values.Values) {
				t.Fatalf("flight %d: sample %d differs", i, k)
			}
		}
	}
}

// TestFreeFallOfTheRoughCraft: without drag and wind its equations are those of
// the textbook: up and down again in 2 v/g, v^2/2g high.
func TestFreeFallOfTheRoughCraft(t *testing.T) {
	c := roughCraft{
		motion: motion{air: air{padPa: seaPa, padK: seaK}, mass: 1e6, dragA: 1e-9, boostS: 0.01, boostV: 30 + 0.01*g0, front: 1},
		hard:   &hard{tumble: 1, tumbleS: 1, fillD: 5}, chuteM: 1,
	}
	var p truePath
	if err := c.fly(never(), &p); err != nil {
		t.Fatal(err)
	}
	if want := 30*30/(2*g0) + 0.15; math.Abs(p.marks.apogeeM-want) > 0.02 {
		t.Errorf("apogee %.3f m, want %.3f", p.marks.apogeeM, want)
	}
	if want := 2*30/g0 + 0.01; math.Abs(p.marks.touchdown-want) > 0.02 {
		t.Errorf("down after %.3f s, want %.3f", p.marks.touchdown, want)
	}
}

// Each rough case shows what its name says.
func TestRoughCases(t *testing.T) {
	checks := map[string]func(f *Flight) bool{
		"swings":       func(f *Flight) bool { return swingOf(f) > 3 && swingOf(f) < 12 },
		"vent-suction": func(f *Flight) bool { return offAt(f, f.Truth.BurnoutS+0.2) > 3 },
		"vent-ram":     func(f *Flight) bool { return offAt(f, f.Truth.BurnoutS+0.2) < -3 },
		"burnout-dip": func(f *Flight) bool {
			return math.Abs(offAt(f, f.Truth.BurnoutS+0.2)+f.Truth.HeightM(f.Truth.BurnoutS+0.2)+49) < 20 && f.Truth.ApogeeM > 1400
		},
		"two-stage": func(f *Flight) bool {
			return f.Truth.FirstMps > 1.4*f.Truth.DescentMps && f.Truth.SecondS > f.Truth.OpenS
		},
		"snagged":       func(f *Flight) bool { return f.Truth.FreeS-f.Truth.OutS > 1.4 && f.Truth.OpenS > f.Truth.FreeS },
		"tumbles":       tumblesDown,
		"untold":        func(f *Flight) bool { return len(f.Samples[0].Values.Names) == 1 && f.Rocket.MassKg == 0 },
		"metres":        boardHeights,
		"whole-metres":  func(f *Flight) bool { v := f.Samples[40].Values.Values[0]; return v == math.Round(v) },
		"eight-bit":     func(f *Flight) bool { return math.Mod(f.Samples[9].Values.Values[0], 20) == 0 },
		"two-hertz":     func(f *Flight) bool { return math.Abs(f.trueS(5)-f.trueS(4)-0.5) < 0.01 },
		"three-axes":    axesAtRest,
		"axes-lie":      func(f *Flight) bool { n := len(f.Samples); return axesOf(f, n-1) == axesOf(f, n-30) },
		"restart-level": func(f *Flight) bool { return math.Abs(levelOf(f, 22)-levelOf(f, 5)-8) < 2 },
		"restart-only": func(f *Flight) bool {
			return math.IsNaN(f.Truth.LiftoffS) && math.Abs(levelOf(f, 30)-levelOf(f, 5)+8) < 2
		},
		"starts-at-liftoff": func(f *Flight) bool { return f.trueS(0)-f.Truth.LiftoffS < 0.03 },
		"landing-bump":      func(f *Flight) bool { return math.Abs(offAt(f, f.Truth.TouchdownS+10.07)-48) < 8 },
		"leap-on-pad":       func(f *Flight) bool { n := len(f.Samples); return f.trueS(n-1)-f.trueS(0) > 400*86400 },
		"long-silence":      func(f *Flight) bool { return levelOf(f, 25)-levelOf(f, 6*3600+40) < -18 },
	}
	for _, c := range RoughCases() {
		t.Run(c.Name, func(t *testing.T) {
			check := checks[c.Name]
			if check == nil {
				t.Fatal("this case has no check")
			}
			for seed := range uint64(4) {
				f, err := c.Draw(seed)
				if err != nil {
					t.Fatal(err)
				}
				if !check(&f) {
					t.Errorf("seed %d does not show it: %s", seed, c.Says)
				}
			}
		})
	}
}

// swingOf is the greatest error, in Pa, of the readings late in the descent.
func swingOf(f *Flight) float64 {
	u, most := &f.Truth, 0.0
	for _, i := range f.within(u.TouchdownS-6, u.TouchdownS-1) {
		p := f.Samples[i].Values.Values[0] - f.plan.sensor.swing.at(f.trueS(i))
		most = max(most, math.Abs(f.Samples[i].Values.Values[0]-p))
	}
	return most
}

// offAt is by how much the readings about a time are too high, in m.
func offAt(f *Flight, s float64) float64 {
	sum, n := 0.0, 0.0
	for _, i := range f.within(s-0.04, s+0.04) {
		sum, n = sum+f.off(i), n+1
	}
	return sum / n
}

// levelOf is the mean height of a second's readings.
func levelOf(f *Flight, s float64) float64 {
	sum, n := 0.0, 0.0
	for _, i := range f.within(s, s+1) {
		sum, n = sum+f.height(i), n+1
	}
	return sum / n
}

func tumblesDown(f *Flight) bool {
	v := -f.Truth.SpeedMps(f.Truth.TouchdownS - 0.1)
	return math.IsNaN(f.Truth.ReleaseS) && v > 10 && v < 26
}

// boardHeights: in cold air the board's standard atmosphere says more than there
// is, in warm air less.
func boardHeights(f *Flight) bool {
	most := 0.0
	for i := range f.Samples {
		most = max(most, f.Samples[i].Values.Values[0])
	}
	rate := most / f.Truth.ApogeeM
	if f.plan.air.padK < zeroC {
		return rate > 1.03 && rate < 1.12
	}
	return rate > 0.88 && rate < 0.97
}

func axesOf(f *Flight, i int) [3]float64 {
	v := f.Samples[i].Values.Values
	return [3]float64{v[6], v[7], v[8]}
}

func axesAtRest(f *Flight) bool {
	a := axesOf(f, 3)
	g := math.Sqrt(a[0]*a[0] + a[1]*a[1] + a[2]*a[2])
	return g > 7 && g < 13 && slices.Contains(f.Samples[0].Values.Names, decode.GPSAltitudeM)
}
