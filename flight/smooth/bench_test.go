package smooth_test

import (
	"math"
	"os"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"testing"

	"padlark/flight/ensemble"
	"padlark/flight/smooth"
)

// BenchmarkEnsembleResults measures what is made of flights after them, in the three
// worlds side by side:
//
//	go test ./flight/smooth -run=NONE -bench=EnsembleResults -benchtime=1x
//
// 300 flights of each; PADLARK_BENCH multiplies that, PADLARK_BENCH_SEED is added to
// the seed. For each world WORLD_height, _time, _sink and _release are the shares of
// the 95 % intervals, totals, that hold the truth; for the release once with what the
// boards tell and once (_untold) with every word about it taken from the samples, then
// against the moment at which the parachute meets the air. _bias_ms is the mean error
// of the latter, _none_pct how often nothing is said. _wrong_per1000 are verdicts "bad"
// or "... upward" of healthy flights that nobody told, whose release is within 1 s
// after the apogee.
func BenchmarkEnsembleResults(b *testing.B) {
	for b.Loop() {
		for _, w := range []struct {
			name string
			spec ensemble.Spec
		}{{"nominal", ensemble.Nominal50()}, {"wide", ensemble.Wide()}, {"rough", ensemble.Rough()}} {
			n := int(300 * benchEnv(b, "PADLARK_BENCH", 1))
			told, untold := scoreResults(b, w.spec, n, false), scoreResults(b, w.spec, n, true)
			b.ReportMetric(told.height.share(), w.name+"_height")
			b.ReportMetric(told.time.share(), w.name+"_time")
			b.ReportMetric(told.sink.share(), w.name+"_sink")
			b.ReportMetric(told.release.share(), w.name+"_release")
			b.ReportMetric(untold.height.share(), w.name+"_height_untold")
			b.ReportMetric(untold.time.share(), w.name+"_time_untold")
			b.ReportMetric(untold.release.share(), w.name+"_release_untold")
			b.ReportMetric(1e3*untold.bias/math.Max(untold.release.n, 1), w.name+"_bias_ms")
			b.ReportMetric(100*untold.none/math.Max(untold.none+untold.release.n, 1), w.name+"_none_pct")
			b.ReportMetric(1e3*untold.wrong/math.Max(untold.healthy, 1), w.name+"_wrong_per1000")
		}
	}
	b.ReportMetric(0, "ns/op") // the time of the whole says nothing
}

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
	height, time, sink, release intervals
	bias, none, wrong, healthy  float64
}

func scoreResults(tb testing.TB, spec ensemble.Spec, n int, untold bool) resultScore {
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
				if untold {
					withoutRelease(&f)
				}
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
				s.addRelease(r.ReleaseLagS, r.ReleaseLagSD, r.Verdict, tr, untold || bare(&f))
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

// bare says whether the board tells nothing of its release.
func bare(f *ensemble.Flight) bool {
	return len(f.Samples) == 0 || !strings.Contains(strings.Join(f.Samples[0].Values.Names, " "), "release")
}

func (s *resultScore) addRelease(lag, sd *float64, verdict string, tr *ensemble.Truth, untold bool) {
	truth := tr.ReleaseS
	if untold && !math.IsNaN(tr.OutS) {
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
	if lag == nil {
		s.none++
		return
	}
	s.release.add(lag, sd, truth)
	s.bias += *lag - truth
}
