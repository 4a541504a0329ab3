package smooth_test

import (
	"math"
	"os"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"padlark/decode"
	"padlark/flight/ensemble"
	"padlark/flight/smooth"
)

// BenchmarkEnsembleResults measures what is made of flights after them, in four worlds
// side by side; nothing is mended on the last of them, the contrary one:
//
//	go test ./flight/smooth -run=NONE -bench=EnsembleResults -benchtime=1x
//
// 300 flights of each; PADLARK_BENCH multiplies that, PADLARK_BENCH_SEED is added to
// the seed. For each world height, time, sink and release are the shares of
// the 95 % intervals, totals, that hold the truth; for the release once of the boards
// that tell it and once (_untold) with every word about it taken from the samples, then
// against the moment at which the parachute meets the air. bias_ms is the mean error
// of the latter, rms_ms its size, none_pct how often nothing is said. wrong_per1000
// are verdicts "bad" or "... upward" of healthy flights that nobody told, whose release
// is within 1 s after the apogee. _no_temp are the shares where nobody gave the
// temperature of the site, in air of -5 to 35 degC; with _any_air also where a world has
// colder and hotter.
func BenchmarkEnsembleResults(b *testing.B) {
	for _, spec := range []ensemble.Spec{ensemble.Nominal50(), ensemble.Wide(), ensemble.Rough(), ensemble.Contrary()} {
		b.Run(spec.Name, func(b *testing.B) {
			for b.Loop() {
				n := int(300 * benchEnv(b, "PADLARK_BENCH", 1))
				told, untold := scoreResults(b, spec, n, func(*ensemble.Flight) {}), scoreResults(b, spec, n, withoutRelease)
				// What is taken where nobody says is air of -5 to 35 degC.
				usual := spec
				usual.PadC = ensemble.Range{Lo: max(-5, spec.PadC.Lo), Hi: min(35, spec.PadC.Hi)}
				noTemp := scoreResults(b, usual, n, withoutTemperature)
				if usual.PadC != spec.PadC {
					beyond := scoreResults(b, spec, n, withoutTemperature)
					b.ReportMetric(beyond.height.share(), "height_no_temp_any_air")
					b.ReportMetric(beyond.sink.share(), "sink_no_temp_any_air")
				}
				b.ReportMetric(told.height.share(), "height")
				b.ReportMetric(told.time.share(), "time")
				b.ReportMetric(told.sink.share(), "sink")
				b.ReportMetric(told.told.share(), "release")
				b.ReportMetric(untold.height.share(), "height_untold")
				b.ReportMetric(untold.time.share(), "time_untold")
				b.ReportMetric(untold.release.share(), "release_untold")
				b.ReportMetric(1e3*untold.bias/math.Max(untold.release.n, 1), "bias_ms")
				b.ReportMetric(1e3*math.Sqrt(untold.square/math.Max(untold.release.n, 1)), "rms_ms")
				b.ReportMetric(100*untold.none/math.Max(untold.none+untold.release.n, 1), "none_pct")
				b.ReportMetric(1e3*untold.wrong/math.Max(untold.healthy, 1), "wrong_per1000")
				b.ReportMetric(noTemp.height.share(), "height_no_temp")
				b.ReportMetric(noTemp.time.share(), "time_no_temp")
				b.ReportMetric(noTemp.sink.share(), "sink_no_temp")
			}
			b.ReportMetric(0, "ns/op") // the time of the whole says nothing
		})
	}
}

func withoutTemperature(f *ensemble.Flight) { f.Site.TemperatureC = nil }

func benchEnv(tb testing.TB, name string, usual float64) float64 {
	text := os.Getenv(name)
	if text == "" {
		return usual
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || !(v >= 0) {
		tb.Fatalf("%s is %q: give a number such as 0.1 or 10", name, text)
	}
	return v
}

// intervals counts those that hold the truth.
type intervals struct{ in, n float64 }

func (c *intervals) add(v, sd *float64, truth float64) {
	if math.IsNaN(truth) {
		return
	}
	c.n++
	if v != nil && sd != nil && math.Abs(*v-truth) < 1.96**sd {
		c.in++
	}
}

func (c *intervals) share() float64 { return c.in / math.Max(c.n, 1) }

// resultScore is how the results of one world fare.
type resultScore struct {
	height, time, sink   intervals
	told, release        intervals // the moment of the release: told, inferred
	bias, square         float64
	none, wrong, healthy float64
}

// scoreResults scores n flights of a world; change takes from each what it is to do
// without.
func scoreResults(tb testing.TB, spec ensemble.Spec, n int, change func(*ensemble.Flight)) resultScore {
	var s resultScore
	var mu sync.Mutex
	var wg sync.WaitGroup
	seed := 2100 + uint64(benchEnv(tb, "PADLARK_BENCH_SEED", 0))
	workers := runtime.GOMAXPROCS(0)
	errs := make([]error, workers)
	for w := range workers {
		wg.Go(func() {
			var f ensemble.Flight
			for i := w; i < n; i += workers {
				if errs[w] = ensemble.DrawInto(&f, spec, seed, uint64(i)); errs[w] != nil {
					return
				}
				change(&f)
				r, series, err := smooth.Analyse(smooth.Config{Rocket: f.Rocket, Site: f.Site}, f.Samples, nil, nil)
				if err != nil && f.Truth.ApogeeM < 10 {
					continue // no flight
				}
				mu.Lock()
				tr := &f.Truth
				var at *float64
				if r.ApogeeAt != nil {
					x := f.S(*r.ApogeeAt)
					at = &x
				}
				s.height.add(r.ApogeeM, r.ApogeeSD, tr.ApogeeM)
				s.time.add(at, &series.ApogeeTimeSD, tr.ApogeeS)
				s.sink.add(r.DescentMps, r.DescentSD, tr.DescentMps)
				s.addRelease(r.ReleaseLagS, r.ReleaseLagSD, r.Verdict, tr, tells(&f))
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	for _, err := range errs {
		if err != nil {
			tb.Fatal(err)
		}
	}
	return s
}

// tells says whether the board tells its release.
func tells(f *ensemble.Flight) bool {
	return slices.ContainsFunc(f.Samples, func(s decode.Sample) bool {
		i := slices.Index(s.Values.Names, decode.ReleaseUs)
		return i >= 0 && !math.IsNaN(s.Values.Values[i])
	})
}

func (s *resultScore) addRelease(lag, sd *float64, verdict string, tr *ensemble.Truth, told bool) {
	truth := tr.ReleaseS
	if !told && !math.IsNaN(tr.OutS) {
		truth = tr.OutS
	}
	truth -= tr.ApogeeS
	if math.IsNaN(truth) {
		return
	}
	if command := tr.ReleaseS - tr.ApogeeS; command >= 0 && command <= 1 {
		s.healthy++
		if strings.HasPrefix(verdict, "bad") || strings.Contains(verdict, "upward") {
			s.wrong++
		}
	}
	if told {
		s.told.add(lag, sd, truth)
		return
	}
	if lag == nil {
		s.none++
		return
	}
	s.release.add(lag, sd, truth)
	s.bias += *lag - truth
	s.square += (*lag - truth) * (*lag - truth)
}
