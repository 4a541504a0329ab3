package smooth_test

import (
	"math"
	"testing"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/ensemble"
	"padlark/flight/smooth"
)

// errs are the errors of a result in units of what it says, and the spreads.
type errs struct{ value, sd [4]float64 }

// of is what a result is off by in height of the apogee, greatest speed, liftoff and
// time of the apogee.
func errsOf(f *ensemble.Flight, r *flight.Result) (e errs) {
	u := &f.Truth
	e.value = [4]float64{*r.ApogeeM - u.ApogeeM, *r.MaxSpeedMps - u.MaxSpeedMps, f.S(*r.LaunchedAt) - u.LiftoffS, f.S(*r.ApogeeAt) - u.ApogeeS}
	e.sd = [4]float64{*r.ApogeeSD, *r.MaxSpeedSD, *r.TimeToApogeeSD, *r.TimeToApogeeSD}
	return e
}

// TestAccelerometerHelpsOrIsLeftOut: a sound accelerometer, mounted anyhow, makes the
// liftoff and the speed better known; one that lies makes nothing worse than it is
// without one.
func TestAccelerometerHelpsOrIsLeftOut(t *testing.T) {
	lies := []struct {
		name  string
		sound bool
		of    func(v, since float64) float64 // m/s2, s since the liftoff
	}{
		{"sound", true, func(v, _ float64) float64 { return v }},
		{"upside down", true, func(v, _ float64) float64 { return -v }},
		{"three axes askew", true, nil},
		{"clips at 4 g", false, func(v, _ float64) float64 { return min(v, 4*9.80665) }},
		{"a size", false, func(v, _ float64) float64 { return math.Abs(v) }},
		{"stuck in the thrust", false, func(v, since float64) float64 {
			if since > 0.1 {
				return 60
			}
			return v
		}},
		{"stuck at the liftoff", false, func(v, since float64) float64 {
			if since > 0 {
				return 9.8
			}
			return v
		}},
		{"half the force in flight", false, func(v, since float64) float64 {
			if since > 0 {
				return v / 2
			}
			return v
		}},
		{"dead", false, func(_, _ float64) float64 { return 0 }},
	}
	spec := ensemble.Nominal50()
	spec.AccelShare, spec.RateHz, spec.WaterM = 1, []float64{25}, ensemble.Range{Lo: 60, Hi: 160}
	channels := []string{decode.AccelMps2}
	var liftoff, sound [2]float64 // sums of squares without and with
	for _, i := range []uint64{1, 3, 4} {
		f, err := ensemble.Draw(spec, 31, i)
		if err != nil {
			t.Fatal(err)
		}
		cfg := smooth.Config{Rocket: f.Rocket, Site: f.Site}
		r, _, err := smooth.Analyse(cfg, without(f.Samples, channels), nil, nil)
		if err != nil {
			t.Fatal(err)
		}
		was := errsOf(&f, &r)
		for _, lie := range lies {
			samples := f.Samples
			if lie.of == nil {
				samples = askew(samples)
			} else {
				n := 0
				samples = changed(samples, func(name string, v float64) (float64, bool) {
					if name == decode.PressurePa {
						n++
					}
					if name == decode.AccelMps2 {
						v = lie.of(v, f.S(f.Samples[n-1].At)-f.Truth.LiftoffS)
					}
					return v, true
				})
			}
			r, _, err := smooth.Analyse(cfg, samples, nil, nil)
			if err != nil {
				t.Fatalf("flight %d, %s: %v", i, lie.name, err)
			}
			now := errsOf(&f, &r)
			for k, what := range [4]string{"apogee m", "speed m/s", "liftoff s", "apogee s"} {
				if e := math.Abs(now.value[k]); e > math.Abs(was.value[k])+was.sd[k] || e > 3*now.sd[k]+0.01 {
					t.Errorf("flight %d, %s: %s off by %.3f ± %.3f, without an accelerometer by %.3f ± %.3f",
						i, lie.name, what, now.value[k], now.sd[k], was.value[k], was.sd[k])
				}
			}
			if lie.sound {
				liftoff[0], liftoff[1] = liftoff[0]+was.value[2]*was.value[2], liftoff[1]+now.value[2]*now.value[2]
				sound[0], sound[1] = sound[0]+was.sd[1], sound[1]+now.sd[1]
			}
		}
	}
	if liftoff[1] > liftoff[0]/2 || sound[1] > 0.95*sound[0] {
		t.Errorf("squares of the liftoffs' errors %.5f and %.5f s2 with an accelerometer, sd of the speeds %.2f and %.2f m/s: it does not help",
			liftoff[0], liftoff[1], sound[0], sound[1])
	}
}

// askew is the samples of a board that is mounted anyhow.
func askew(samples []decode.Sample) []decode.Sample {
	out := changed(samples, func(string, float64) (float64, bool) { return 0, true })
	for i := range out {
		v := &out[i].Values
		copy(v.Values, samples[i].Values.Values)
		for k, name := range v.Names {
			if name == decode.AccelMps2 {
				a := v.Values[k]
				v.Names[k], v.Values[k] = decode.AccelXMps2, -0.6*a
				v.Names, v.Values = append(v.Names, decode.AccelYMps2, decode.AccelZMps2), append(v.Values, 0.64*a, -0.48*a)
				break
			}
		}
	}
	return out
}
