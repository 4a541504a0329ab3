package smooth_test

import (
	"math"
	"slices"
	"testing"

	"padlark/decode"
	"padlark/flight/ensemble"
	"padlark/flight/smooth"
	"padlark/flight/track"
)

// BenchmarkEnsembleGain measures what further channels of a board are worth after the
// flight: the same flights with the channel and without it, side by side:
//
//	go test ./flight/smooth -run=NONE -bench=EnsembleGain -benchtime=1x
//
// 200 flights of each world; PADLARK_BENCH and PADLARK_BENCH_SEED as above. WORLD_x is
// the root mean square error of x with the barometer alone, WORLD_x_with that with the
// channel; _in and _in_with are the shares of the 95 % intervals that hold the truth.
func BenchmarkEnsembleGain(b *testing.B) {
	accel, axes, fix := gainWorlds()
	b.Run("accelerometer", func(b *testing.B) {
		reportGain(b, []string{decode.AccelMps2, decode.AccelXMps2, decode.AccelYMps2, decode.AccelZMps2}, append(accel, axes))
	})
	b.Run("receiver", func(b *testing.B) {
		reportGain(b, []string{decode.GPSAltitudeM}, []ensemble.Spec{fix})
	})
	b.Run("barometer", func(b *testing.B) {
		reportGain(b, []string{decode.Pressure2Pa}, pairWorlds())
	})
}

// pairWorlds are worlds whose boards have a second barometer with 0.25 m of noise.
func pairWorlds() []ensemble.Spec {
	out := []ensemble.Spec{ensemble.Nominal50(), ensemble.Wide(), ensemble.Rough()}
	for i := range out {
		out[i].PairM = 0.25
	}
	return out
}

// gainWorlds are worlds whose boards have an accelerometer along the rocket, one whose
// boards have three axes, and the last one with a receiver and no told temperature.
func gainWorlds() (accel []ensemble.Spec, axes, fix ensemble.Spec) {
	for _, s := range []ensemble.Spec{ensemble.Nominal50(), ensemble.Wide()} {
		s.AccelShare = 1
		accel = append(accel, s)
	}
	axes, fix = ensemble.Rough(), ensemble.Rough()
	told, cold := *axes.Hard, *fix.Hard
	told.UntoldShare, told.AxesShare = 0, 1
	cold.UntoldShare, cold.GPSShare, cold.NoTempShare = 0, 1, 1
	axes.Hard, fix.Hard = &told, &cold
	return accel, axes, fix
}

// gained are errors of one quantity.
type gained struct {
	sum, n float64
	held   intervals
}

func (g *gained) add(v, sd *float64, truth float64) {
	g.held.add(v, sd, truth)
	if v != nil && !math.IsNaN(truth) {
		g.sum += (*v - truth) * (*v - truth)
		g.n++
	}
}

func reportGain(b *testing.B, channels []string, worlds []ensemble.Spec) {
	b.Helper()
	n := int(200 * benchEnv(b, "PADLARK_BENCH", 1))
	for range b.N {
		for _, spec := range worlds {
			for _, with := range []bool{false, true} {
				end := ""
				if with {
					end = "_with"
				}
				for name, g := range gainOf(b, spec, n, channels, with) {
					b.ReportMetric(math.Sqrt(g.sum/g.n), spec.Name+"_"+name+end)
					b.ReportMetric(g.held.share(), spec.Name+"_"+name+"_in"+end)
				}
			}
		}
	}
	b.ReportMetric(0, "ns/op") // the time of the whole says nothing
}

// gainOf is how the results of one world fare with the channels or without them.
func gainOf(tb testing.TB, spec ensemble.Spec, n int, channels []string, with bool) map[string]*gained {
	seed := 5200 + uint64(benchEnv(tb, "PADLARK_BENCH_SEED", 0))
	all := map[string]*gained{"height_m": {}, "time_s": {}, "liftoff_s": {}, "speed_mps": {}, "burnout_s": {}}
	var f ensemble.Flight
	for i := range n {
		if err := ensemble.DrawInto(&f, spec, seed, uint64(i)); err != nil {
			tb.Fatal(err)
		}
		samples := f.Samples
		if !with {
			samples = without(samples, channels)
		}
		var pair track.Barometers
		for k := range samples {
			pair.Fuse(&samples[k])
		}
		r, series, err := smooth.Analyse(smooth.Config{Rocket: f.Rocket, Site: f.Site}, samples, nil, nil)
		if err != nil && f.Truth.ApogeeM < 10 {
			continue // no flight
		}
		u := &f.Truth
		all["height_m"].add(r.ApogeeM, r.ApogeeSD, u.ApogeeM)
		all["speed_mps"].add(r.MaxSpeedMps, r.MaxSpeedSD, u.MaxSpeedMps)
		all["burnout_s"].add(r.BurnoutS, r.BurnoutSD, u.BurnoutS-u.LiftoffS)
		if r.ApogeeAt != nil {
			at := f.S(*r.ApogeeAt)
			all["time_s"].add(&at, &series.ApogeeTimeSD, u.ApogeeS)
		}
		if r.LaunchedAt != nil && r.TimeToApogeeSD != nil {
			at := f.S(*r.LaunchedAt)
			all["liftoff_s"].add(&at, r.TimeToApogeeSD, u.LiftoffS)
		}
	}
	return all
}

// without is the samples with some of their channels taken away.
func without(samples []decode.Sample, channels []string) []decode.Sample {
	return changed(samples, func(name string, v float64) (float64, bool) { return v, !slices.Contains(channels, name) })
}

// changed is the samples with each channel's value as `to` has it, or without it.
func changed(samples []decode.Sample, to func(name string, v float64) (float64, bool)) []decode.Sample {
	out := slices.Clone(samples)
	for i := range out {
		was := out[i].Values
		var now decode.Channels
		for k, name := range was.Names {
			if v, keep := to(name, was.Values[k]); keep {
				now.Names, now.Values = append(now.Names, name), append(now.Values, v)
			}
		}
		out[i].Values = now
	}
	return out
}
