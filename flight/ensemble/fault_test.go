package ensemble

import (
	"math"
	"testing"

	"padlark/decode"
)

// faulty is one injected fault with the flight it was put into.
type faulty struct {
	base, f *Flight
	truth   FaultTruth
}

// values are one channel of one rocket in a stretch of time.
func (x faulty) values(rocket, name string, from, to float64) []float64 {
	var out []float64
	for i := range x.f.Samples {
		s := &x.f.Samples[i]
		if at := x.f.trueS(i); s.Rocket == rocket && at >= from && at < to {
			if v, ok := s.Values.Get(name); ok {
				out = append(out, v)
			}
		}
	}
	return out
}

func (x faulty) teal(name string, from, to float64) []float64 {
	return x.values("Teal", name, from, to)
}

// Every fault shows in the samples what its name says, from its onset on.
func TestFaults(t *testing.T) {
	kinds := Faults()
	if len(kinds) < 24 {
		t.Fatalf("%d kinds, want 24 at least", len(kinds))
	}
	var base Flight
	for _, k := range kinds {
		t.Run(string(k.Kind), func(t *testing.T) {
			check := faultChecks[k.Kind]
			if check == nil {
				t.Fatal("this fault has no check")
			}
			for i := range uint64(4) {
				if err := DrawInto(&base, ForFaults(), 21, i); err != nil {
					t.Fatal(err)
				}
				f, truth, err := Inject(k.Kind, &base, 5)
				if err != nil {
					t.Fatal(err)
				}
				if !(truth.OnsetS < truth.ByS) || truth.ByS > f.EndS+4 || truth.OnsetS < 0 {
					t.Errorf("flight %d: onset %.2f s, by %.2f s, ends %.2f s", i, truth.OnsetS, truth.ByS, f.EndS)
				}
				if truth.At.Sub(f.Epoch).Seconds() == 0 && truth.OnsetS != 0 || len(truth.Alarms) == 0 {
					t.Errorf("flight %d: truth %+v", i, truth)
				}
				if !check(faulty{&base, &f, truth}) {
					t.Errorf("flight %d does not show it: truth %+v, %+v", i, truth, f.Truth)
				}
				if i > 0 {
					continue
				}
				if again, _, err := Inject(k.Kind, &base, 5); err != nil || digest(&again) != digest(&f) {
					t.Errorf("flight %d differs when injected again (%v)", i, err)
				}
			}
		})
	}
	if _, _, err := Inject("no-such-fault", &base, 1); err == nil {
		t.Error("a fault that does not exist was injected")
	}
	if _, _, err := Inject("silent", &Flight{}, 1); err == nil {
		t.Error("a fault was put into a flight that was not drawn")
	}
}

var faultChecks = map[FaultKind]func(faulty) bool{
	"no-release": func(x faulty) bool {
		on := x.teal(decode.ReleaseOn, 0, 1e9)
		return maxOf(on) == 0 && math.IsNaN(x.f.Truth.ReleaseS) && hitHard(x.f)
	},
	"late-release": func(x faulty) bool {
		lag := x.f.Truth.ReleaseS - x.f.Truth.ApogeeS
		return lag > 1.5 && x.f.Truth.OpenS > x.f.Truth.ReleaseS
	},
	"ballistic": func(x faulty) bool {
		on := x.teal(decode.ReleaseOn, x.f.Truth.ApogeeS+1, 1e9)
		return minOf(on) == 1 && math.IsNaN(x.f.Truth.OpenS) && hitHard(x.f)
	},
	"early-release": func(x faulty) bool {
		return x.f.Truth.ReleaseS < x.f.Truth.ApogeeS-0.05 && x.f.Truth.ReleaseS > x.f.Truth.BurnoutS && x.f.Truth.ApogeeM < x.base.Truth.ApogeeM
	},
	"release-in-boost": func(x faulty) bool {
		return x.f.Truth.ReleaseS < x.f.Truth.BurnoutS && x.f.Truth.ApogeeM < 0.8*x.base.Truth.ApogeeM
	},
	"silent": func(x faulty) bool {
		return x.f.trueS(len(x.f.Samples)-1) < x.truth.OnsetS && x.f.EndS > x.truth.OnsetS+6 && x.truth.OnsetS < x.f.Truth.TouchdownS
	},
	"reboot": func(x faulty) bool {
		s := x.f.Samples
		last := s[len(s)-1]
		return s[0].Boot == 1 && last.Boot == 2 && last.Clock < int64(1e6*(x.f.EndS-x.truth.OnsetS+1))
	},
	"no-liftoff": func(x faulty) bool {
		blow := maxOf(x.teal(decode.PressurePa, x.truth.OnsetS, x.truth.OnsetS+1)) - maxOf(x.teal(decode.PressurePa, 0, x.truth.OnsetS))
		return math.IsNaN(x.f.Truth.LiftoffS) && blow > 250
	},
	"fast-descent": func(x faulty) bool {
		r := x.f.Truth.DescentMps / x.base.Truth.DescentMps
		return math.IsNaN(r) || r > 1.7 && r < 3.3
	},
	"slow-descent": func(x faulty) bool {
		r := x.f.Truth.DescentMps / x.base.Truth.DescentMps
		return r > 0.27 && r < 0.45
	},
	"out-of-field": checkOutOfField,
	"implausible-pressure": func(x faulty) bool {
		return math.Abs(mean(x.teal(decode.PressurePa, 0, 5))-standardPa(*x.f.Site.ElevationM)) > 7500
	},
	"odd-one-out": func(x faulty) bool {
		odd, r, p := mean(x.teal(decode.PressurePa, 0, 20)), mean(x.values("Rust", decode.PressurePa, 0, 20)), mean(x.values("Plum", decode.PressurePa, 0, 20))
		return math.Abs(r-p) < 400 && math.Abs(odd-r) > 900 && math.Abs(odd-p) > 900
	},
	"sensor-stuck": func(x faulty) bool {
		v := x.teal(decode.PressurePa, x.truth.OnsetS+0.05, 1e9)
		return minOf(v) == maxOf(v) && len(v) > 100
	},
	"sensor-noisy": func(x faulty) bool {
		_, rms := meanRMS(x.teal(decode.PressurePa, x.truth.OnsetS, 1e9))
		return rms > 2.7*11 && rms < 7*13
	},
	"sensor-drift": func(x faulty) bool {
		a, b := mean(x.teal(decode.PressurePa, x.truth.OnsetS-1, x.truth.OnsetS)), mean(x.teal(decode.PressurePa, x.truth.OnsetS+19, x.truth.OnsetS+20))
		return math.Abs(a-b) > 6*11
	},
	"sensor-coarse": func(x faulty) bool {
		v := x.teal(decode.PressurePa, 0, 10)
		seen := map[float64]bool{}
		for _, p := range v {
			seen[p] = true
		}
		return len(seen) >= 2 && len(seen) < 12
	},
	"rate-wrong": func(x faulty) bool {
		hz := float64(len(x.teal(decode.PressurePa, x.truth.OnsetS+1, x.truth.OnsetS+11))) / 10
		r := hz / x.f.Rocket.RateHz
		return r < 0.7 || r > 1.35
	},
	"cell-low":     func(x faulty) bool { return maxOf(x.teal(decode.CellV, 0, 10)) < 3.55 },
	"wrong-supply": func(x faulty) bool { return minOf(x.teal(decode.CellV, 0, 10)) > 8.4 },
	"cell-sag": func(x faulty) bool {
		rest := mean(x.teal(decode.CellV, x.truth.OnsetS-2, x.truth.OnsetS))
		return rest-minOf(x.teal(decode.CellV, x.truth.OnsetS, x.truth.OnsetS+1)) > 0.7
	},
	"servo-range": func(x faulty) bool {
		v := x.teal(decode.ReleaseUs, x.truth.OnsetS, x.truth.OnsetS+1)
		return maxOf(v) > x.f.Rocket.ReleaseMaxUs || minOf(v) < x.f.Rocket.ReleaseMinUs
	},
	"servo-moving": func(x faulty) bool {
		v := x.teal(decode.ReleaseUs, 0, 1e9)
		return maxOf(v)-minOf(v) >= 150 && maxOf(v) <= x.f.Rocket.ReleaseMaxUs && maxOf(x.teal(decode.ReleaseOn, 0, 1e9)) == 0
	},
	"not-armed":   func(x faulty) bool { return maxOf(x.teal(decode.Armed, 0, 1e9)) == 0 },
	"armed-early": func(x faulty) bool { return maxOf(x.teal(decode.Armed, 0, x.truth.OnsetS+1)) == 1 },
	"clock-jump":  checkClockJump,
	"losses": func(x faulty) bool {
		r := 1 - float64(len(x.f.Samples))/float64(x.f.Sent)
		return r > 0.5 && r < 0.9
	},
	"weak-signal": func(x faulty) bool {
		return *x.f.Samples[0].RSSI > -80 && *x.f.Samples[len(x.f.Samples)-1].RSSI <= -113
	},
	"collision":    checkCollision,
	"duplicate-id": checkDuplicate,
	"hung": func(x faulty) bool {
		h := x.f.height(len(x.f.Samples)-1) - x.f.height(0)
		return h > 8 && h < 21 && x.f.Truth.RestM >= 10
	},
	"not-at-rest": func(x faulty) bool {
		_, rms := meanRMS(x.teal(decode.PressurePa, x.f.Truth.TouchdownS+5, 1e9))
		return rms > 12
	},
	"servo-on": func(x faulty) bool {
		td := x.f.Truth.TouchdownS
		return minOf(x.teal(decode.ReleaseUs, td+20, 1e9)) == x.f.Rocket.ReleaseOpenUs &&
			maxOf(x.teal(decode.CellV, td+20, 1e9))-minOf(x.teal(decode.CellV, td+20, 1e9)) > 0.08
	},
	"cell-flat": func(x faulty) bool {
		return maxOf(x.teal(decode.CellV, x.truth.OnsetS+1, 1e9)) < 3 && minOf(x.teal(decode.CellV, x.f.Truth.TouchdownS, x.truth.OnsetS-0.5)) > 2.97
	},
}

// hitHard says whether it came down far faster than under its parachute.
func hitHard(f *Flight) bool {
	return f.Truth.SpeedMps(f.Truth.TouchdownS-0.05) < -2*f.Setup.SinkMps
}

func checkOutOfField(x faulty) bool {
	lat0, lon0 := *x.f.Site.LatitudeDeg, *x.f.Site.LongitudeDeg
	dist := func(from, to float64) []float64 {
		lat, lon := x.teal(decode.LatitudeDeg, from, to), x.teal(decode.LongitudeDeg, from, to)
		out := make([]float64, len(lat))
		for i := range lat {
			out[i] = math.Hypot((lat[i]-lat0)*metresPerDegree, (lon[i]-lon0)*metresPerDegree*math.Cos(lat0*math.Pi/180))
		}
		return out
	}
	r := x.f.Site.FieldRadiusM
	return maxOf(dist(0, x.truth.OnsetS)) < r+12 && minOf(dist(x.truth.ByS, x.f.Truth.TouchdownS)) > r-12
}

func checkClockJump(x faulty) bool {
	jumps := 0
	s := x.f.Samples
	for i := 1; i < len(s); i++ {
		if d := s[i].Clock - s[i-1].Clock; d > 1.5e6 && s[i].Seq == s[i-1].Seq+1 && s[i].Boot == s[i-1].Boot {
			jumps++
		}
	}
	return jumps == 1
}

func checkCollision(x faulty) bool {
	for _, name := range []string{"Teal", "Rust"} {
		n, last := 0.0, int64(0)
		for i := range x.f.Samples {
			if s := &x.f.Samples[i]; s.Rocket == name {
				n, last = n+1, s.Seq+1
			}
		}
		if loss := 1 - n/float64(last); loss < 0.25 || loss > 0.65 {
			return false
		}
	}
	return len(x.f.Broken) > 100
}

func checkDuplicate(x faulty) bool {
	falls := 0
	s := x.f.Samples
	for i := 1; i < len(s); i++ {
		if s[i].Rocket != "Teal" {
			return false
		}
		if math.Abs(float64(s[i].Clock-s[i-1].Clock)) > 1e6 {
			falls++
		}
	}
	return falls > len(s)/2
}

func mean(x []float64) float64 { m, _ := meanRMS(x); return m }

func maxOf(x []float64) float64 {
	m := math.Inf(-1)
	for _, v := range x {
		m = max(m, v)
	}
	return m
}

func minOf(x []float64) float64 {
	m := math.Inf(1)
	for _, v := range x {
		m = min(m, v)
	}
	return m
}
