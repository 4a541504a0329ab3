package flight_test

import (
	"math"
	"os"
	"runtime"
	"slices"
	"sort"
	"strconv"
	"sync"
	"testing"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/ensemble"
	"padlark/flight/smooth"
	"padlark/flight/track"
)

// BenchmarkEnsemble measures the estimators against flights with known truth:
//
//	go test ./flight/... -run=NONE -bench=Ensemble -benchtime=1x
//
// or one part of it, -bench=Ensemble/live and so on.
//
// The default size takes five minutes of one processor. PADLARK_BENCH multiplies
// all numbers of flights and hours (0.1 for a look, 10 for the night), and
// PADLARK_BENCH_SEED is added to the seeds, to measure on other flights.
//
// Of what is rare, *_to95 is the rate that the true one is below with a confidence of
// 95 % (Poisson; Garwood 1936, from memory): none in 60 000 flights means less than 5 in
// 100 000, none in 1000 hours less than 3. Each hour is that
// of another board: it has been switched on, too, when a sensor may settle.
//
// Live, over all flights at 50 Hz with 0.25 m of noise and at 10 Hz with 0.5 m
// and 10 % lost (ensemble.Short and the like of Slow10): early_per_100k are
// calls of the apogee more than 0.1 s before it, missed_per_100k flights
// without a call. late_* is the time of the sample (or of the tick, when nothing
// is heard) that makes the call minus the true apogee, at 50 Hz; late10_* the
// same at 10 Hz. The wide_* metrics are those of ensemble.Wide, where everything
// is drawn at once (a release in the boost may make the apogee lower than 10 m
// there: such flights are left out), the rough_* those of ensemble.Rough, a world
// that flies by other equations. What is
// called early there are liftoffs that a gust of several metres feigns within
// seconds of switching on, before its like has been seen, and now and then a
// parachute that opens before the apogee with a bump of 20 m. What is missed are
// low flights, most below 15 m, in gusts whose blocks of a second scatter by 2 m
// and more: a rule that found them would call such gusts a liftoff.
//
// missed_per_100k cannot be 0 for certain at 10 Hz: losses come in bursts of up
// to three frames in the mean, so that some flights in 100 000 lose 2 s and more
// in a row, and with them what there is of the flight before and after the top.
// One of the 60 000 loses 2.7 s, from 0.6 s after liftoff until it is half way
// down; what is heard of its climb and of its fall together tells of it.
//
// live_coverage_* are the shares of the 95 % intervals on the board that hold the
// truth, five times a second from burnout on (ensemble.Nominal50, and Wide); the
// speed up to the release, what is foretold up to the apogee. Their standard
// deviations allow for a vent and a temperature of the site that Nominal50 has
// without error: there nearly all hold.
//
// After the flight: apogee_*_rms_over_bayes_bound is the root mean square error over
// the Bayesian (van Trees) bound for all readings from burnout to touchdown and the
// priors of drag and opening (bayesBound), in the gusts and the drift that were drawn,
// which the bound knows. An estimator with these priors cannot be better than 1; the
// target is 1.15. white_* is the same in white noise only, where one that allows for a
// level that wanders by 0.05 m in 10 s, as all do, cannot reach it. interval95_coverage is the worst of height, time and
// sink rate, with gusts and drift (ensemble.Nominal50).
func BenchmarkEnsemble(b *testing.B) {
	for _, part := range []struct {
		name string
		run  func(b *testing.B, scale float64)
	}{{"live", live}, {"live-accelerometer", liveAccel}, {"live-wide", liveWide}, {"live-rough", liveRough}, {"waiting", waiting}, {"after", after}, {"board", board}, {"speed", speed}} {
		b.Run(part.name, func(b *testing.B) {
			for b.Loop() {
				part.run(b, benchScale(b))
			}
			b.ReportMetric(0, "ns/op") // the time of the whole says nothing
		})
	}
}

// benchScale is PADLARK_BENCH, 1 if not set.
func benchScale(tb testing.TB) float64 {
	text := os.Getenv("PADLARK_BENCH")
	if text == "" {
		return 1
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || !(v > 0) {
		tb.Fatalf("PADLARK_BENCH is %q: give a number above 0, such as 0.1 or 10", text)
	}
	return v
}

// benchSeed is PADLARK_BENCH_SEED, 0 if not set.
func benchSeed(tb testing.TB) uint64 {
	text := os.Getenv("PADLARK_BENCH_SEED")
	if text == "" {
		return 0
	}
	v, err := strconv.ParseUint(text, 10, 32)
	if err != nil {
		tb.Fatalf("PADLARK_BENCH_SEED is %q: give a whole number from 0 on", text)
	}
	return v
}

// eachFlight draws n flights of a spec on all cores and hands each to do,
// which must be safe for several goroutines on different flights.
func eachFlight(tb testing.TB, spec ensemble.Spec, seed uint64, n int, do func(i int, f *ensemble.Flight)) {
	var wg sync.WaitGroup
	workers := runtime.GOMAXPROCS(0)
	errs := make([]error, workers)
	for w := range workers {
		wg.Go(func() {
			var f ensemble.Flight
			for i := w; i < n; i += workers {
				if err := ensemble.DrawInto(&f, spec, seed, uint64(i)); err != nil {
					errs[w] = err
					return
				}
				do(i, &f)
			}
		})
	}
	wg.Wait()
	for _, err := range errs {
		if err != nil {
			tb.Fatal(err)
		}
	}
}

// call is what the live tracker made of one flight's apogee.
type call struct {
	late float64 // s after the true apogee, NaN if never called
	low  bool    // the true apogee is below 10 m: no flight
}

// follow runs the live tracker over a flight, with the ticks that a station
// gives it: before a sample all up to its Passed.
func follow(f *ensemble.Flight) call {
	const tick = 200 * time.Millisecond
	t := track.New(track.Config{Session: "bench", Rocket: f.Rocket, Site: f.Site})
	c := call{late: math.NaN(), low: f.Truth.ApogeeM < 9.8}
	look := func(events []flight.Event) {
		for _, e := range events {
			if e.Kind == flight.Apogee && math.IsNaN(c.late) {
				c.late = f.S(e.CalledAt) - f.Truth.ApogeeS
			}
		}
	}
	next := tick
	ticks := func(until time.Duration) {
		for ; next <= until; next += tick {
			look(t.Tick(f.Epoch.Add(next)))
		}
	}
	for i := range f.Samples {
		ticks(time.Duration(f.Samples[i].Passed))
		t.Fuse(&f.Samples[i])
		look(t.Sample(&f.Samples[i]))
	}
	ticks(time.Duration(f.EndS * 1e9))
	return c
}

// lateness sums up the calls of one spec.
type lateness struct{ p50, p99, early, missed, flights float64 }

// lateOf follows n flights of a spec, as if the boards did not send the channels without.
func lateOf(tb testing.TB, spec ensemble.Spec, n int, without ...string) lateness {
	calls := make([]call, n)
	eachFlight(tb, spec, 7+benchSeed(tb), n, func(i int, f *ensemble.Flight) {
		for k := range f.Samples {
			for c, name := range f.Samples[k].Values.Names {
				if slices.Contains(without, name) {
					f.Samples[k].Values.Values[c] = math.NaN()
				}
			}
		}
		calls[i] = follow(f)
	})
	var s lateness
	var late []float64
	for i, c := range calls {
		switch {
		case c.low:
			continue
		case math.IsNaN(c.late):
			s.missed++
			tb.Logf("%s: flight %d missed", spec.Name, i)
		default:
			late = append(late, c.late*1e3)
			if c.late < -0.1 {
				s.early++
				tb.Logf("%s: flight %d called %.2f s early", spec.Name, i, -c.late)
			}
		}
		s.flights++
	}
	sort.Float64s(late)
	if n := len(late); n > 0 {
		s.p50, s.p99 = late[n/2], late[n*99/100]
	}
	return s
}

func live(b *testing.B, scale float64) {
	slow := ensemble.Slow10()
	slow.Parametric, slow.PadS, slow.CutS = true, ensemble.Range{Lo: 3, Hi: 5}, 3
	fast := lateOf(b, ensemble.Short(), int(30000*scale))
	ten := lateOf(b, slow, int(30000*scale))
	lateness{early: fast.early + ten.early, missed: fast.missed + ten.missed, flights: fast.flights + ten.flights}.report(b, "")
	b.ReportMetric(fast.p50, "late_p50_ms")
	b.ReportMetric(fast.p99, "late_p99_ms")
	b.ReportMetric(ten.p50, "late10_p50_ms")
	b.ReportMetric(ten.p99, "late10_p99_ms")
}

// liveAccel is what an accelerometer is worth live: the same flights of slow boards of
// the nominal and of the rough world without one and with one (_with).
func liveAccel(b *testing.B, scale float64) {
	slow := ensemble.Slow10()
	slow.Parametric, slow.PadS, slow.CutS = true, ensemble.Range{Lo: 3, Hi: 5}, 3
	hard := ensemble.Rough()
	hard.CutS = 8
	for _, w := range []struct {
		name string
		spec ensemble.Spec
		n    float64
	}{{"", slow, 3000}, {"rough_", hard, 1000}} {
		w.spec.AccelShare = 1
		if w.spec.Hard != nil {
			h := *w.spec.Hard
			h.AxesShare, h.UntoldShare = 1, 0
			w.spec.Hard = &h
		}
		channels := []string{decode.AccelMps2, decode.AccelXMps2, decode.AccelYMps2, decode.AccelZMps2}
		for _, end := range []string{"", "_with"} {
			if end != "" {
				channels = nil
			}
			l := lateOf(b, w.spec, int(w.n*scale), channels...)
			b.ReportMetric(l.p50, w.name+"late_p50_ms"+end)
			b.ReportMetric(l.p99, w.name+"late_p99_ms"+end)
			b.ReportMetric(l.early*1e5/l.flights, w.name+"early_per_100k"+end)
			b.ReportMetric(l.missed*1e5/l.flights, w.name+"missed_per_100k"+end)
		}
	}
}

func liveWide(b *testing.B, scale float64) {
	wide := ensemble.Wide()
	wide.Parametric, wide.CutS = true, 8
	all := lateOf(b, wide, int(3000*scale))
	all.report(b, "wide_")
	b.ReportMetric(all.p50, "wide_late_p50_ms")
}

func liveRough(b *testing.B, scale float64) {
	hard := ensemble.Rough()
	hard.CutS = 8
	rough := lateOf(b, hard, int(3000*scale))
	rough.report(b, "rough_")
	b.ReportMetric(rough.p50, "rough_late_p50_ms")
}

// report writes how many were called early and missed, and of how many.
func (s lateness) report(b *testing.B, world string) {
	per := 1e5 / s.flights
	b.ReportMetric(s.flights, world+"live_flights")
	b.ReportMetric(s.early*per, world+"early_per_100k")
	b.ReportMetric(most95(s.early)*per, world+"early_per_100k_to95")
	b.ReportMetric(s.missed*per, world+"missed_per_100k")
	b.ReportMetric(most95(s.missed)*per, world+"missed_per_100k_to95")
}

// most95 is the mean below which the true one is with a confidence of 95 %, where so
// many were counted.
func most95(counted float64) float64 {
	return distuv.Gamma{Alpha: counted + 1, Beta: 1}.Quantile(0.95)
}

// waiting leaves boards on the pad for so many hours in all, each for one.
func waiting(b *testing.B, scale float64) {
	var wg sync.WaitGroup
	workers := runtime.GOMAXPROCS(0)
	n := max(1, int(1000*scale))
	found := make([]int, workers)
	seed := 3 + benchSeed(b)
	for w := range workers {
		wg.Go(func() {
			for i := w; i < n; i += workers {
				pad := ensemble.WaitingPad(ensemble.OnPad(), seed, uint64(i), 1)
				t := track.New(track.Config{Session: "pad", Rocket: pad.Rocket, Site: pad.Site})
				for s := range pad.Samples() {
					t.Sample(s)
				}
				found[w] += t.State().Flight // flights so far, of whatever kind
			}
		})
	}
	wg.Wait()
	total := 0
	for _, k := range found {
		total += k
	}
	b.ReportMetric(float64(total)*1000/float64(n), "false_liftoff_per_1000h")
	b.ReportMetric(float64(n), "pad_hours")
}

// after measures what is made of the flight after it.
func after(b *testing.B, scale float64) {
	w := score(b, whiteOnly(ensemble.Nominal50()), int(150*scale))
	q := score(b, quiet(ensemble.Nominal50()), int(150*scale))
	b.ReportMetric(float64(int(600*scale)), "coverage_flights")
	b.ReportMetric(q.timeOver, "apogee_time_rms_over_bayes_bound")
	b.ReportMetric(q.heightOver, "apogee_height_rms_over_bayes_bound")
	b.ReportMetric(w.timeOver, "white_time_rms_over_bayes_bound")
	b.ReportMetric(w.heightOver, "white_height_rms_over_bayes_bound")
	n := score(b, ensemble.Nominal50(), int(600*scale))
	worst := n.height
	for _, c := range []float64{n.time, n.sink} {
		if math.Abs(c-0.95) > math.Abs(worst-0.95) {
			worst = c
		}
	}
	b.ReportMetric(worst, "interval95_coverage")
	b.ReportMetric(n.height, "coverage_height")
	b.ReportMetric(n.time, "coverage_time")
	b.ReportMetric(n.sink, "coverage_descent")
	all := score(b, ensemble.Wide(), int(600*scale))
	b.ReportMetric(all.height, "wide_coverage_height")
	b.ReportMetric(all.time, "wide_coverage_time")
	b.ReportMetric(all.sink, "wide_coverage_descent")
	hard := score(b, ensemble.Rough(), int(600*scale))
	b.ReportMetric(hard.height, "rough_coverage_height")
	b.ReportMetric(hard.time, "rough_coverage_time")
	b.ReportMetric(hard.sink, "rough_coverage_descent")
}

const whiteName, quietName = "white", "quiet"

// whiteOnly leaves nothing but white noise.
func whiteOnly(s ensemble.Spec) ensemble.Spec {
	s = quiet(s)
	s.Name = whiteName
	s.GustPa, s.DriftM = ensemble.Fixed(0), ensemble.Fixed(0)
	return s
}

// quiet is a spec without what the bound leaves out: the pulse of a nose that comes off.
func quiet(s ensemble.Spec) ensemble.Spec {
	s.Name = quietName
	zero := ensemble.Fixed(0)
	s.BumpM, s.StampS, s.JitterS = zero, zero, zero
	return s
}

// scores are those of the smoother over one spec.
type scores struct {
	timeOver, heightOver float64 // rms error over the bound
	time, height, sink   float64 // share of the 95 % intervals that hold the truth
}

// hits counts intervals.
type hits struct{ in, n float64 }

func (t *hits) add(err, sd float64) {
	t.n++
	if math.Abs(err) < 1.96*sd {
		t.in++
	}
}

func (t *hits) share() float64 { return t.in / max(t.n, 1) }

func score(tb testing.TB, spec ensemble.Spec, n int) scores {
	var mu sync.Mutex
	var time, height, sink hits
	var sumT, sumH, bounded float64
	eachFlight(tb, spec, 11+benchSeed(tb), n, func(i int, f *ensemble.Flight) {
		r, s, err := smooth.Analyse(smooth.Config{Rocket: f.Rocket, Site: f.Site}, f.Samples, nil, nil)
		mu.Lock()
		defer mu.Unlock()
		tr := &f.Truth
		if err != nil || r.ApogeeAt == nil || r.ApogeeM == nil {
			time.add(math.Inf(1), 0) // nothing is the worst interval
			return
		}
		// The ensemble draws the sensor's absolute error and that of the told
		// temperature; the smoother cannot see them, and the intervals of what
		// it can see are widened by just these.
		scale := systematicPart(spec)
		dt := f.S(*r.ApogeeAt) - tr.ApogeeS
		time.add(dt, s.ApogeeTimeSD)
		heightSD, sinkSD := math.Hypot(s.ApogeeParts.Readings, scale*tr.ApogeeM), math.Hypot(s.DescentReadingsSD, scale*tr.DescentMps)
		if spec.Hard != nil && r.ApogeeSD != nil && r.DescentSD != nil {
			heightSD, sinkSD = *r.ApogeeSD, *r.DescentSD // what was told of the air differs from flight to flight
		}
		height.add(*r.ApogeeM-tr.ApogeeM, heightSD)
		if r.DescentMps != nil && !math.IsNaN(tr.DescentMps) {
			sink.add(*r.DescentMps-tr.DescentMps, sinkSD)
		}
		if spec.Name != whiteName && spec.Name != quietName {
			return
		}
		if boundT, boundH, ok := bayesBound(f); ok {
			dh := *r.ApogeeM - tr.ApogeeM*(1-f.Setup.BiasPa/padPa(f))
			sumT += dt * dt / (boundT * boundT)
			sumH += dh * dh / (boundH * boundH)
			bounded++
		}
	})
	return scores{math.Sqrt(sumT / bounded), math.Sqrt(sumH / bounded), time.share(), height.share(), sink.share()}
}

// systematicPart is the relative standard deviation of all heights that the
// ensemble draws: 50 Pa of absolute error in about 95 kPa, and a temperature
// error evenly between the limits.
func systematicPart(spec ensemble.Spec) float64 {
	return math.Hypot(50.0/95000, spec.TempErrorK.Hi/math.Sqrt(3)/288)
}

// padPa is the first pressure read.
func padPa(f *ensemble.Flight) float64 {
	p, _ := f.Samples[0].Values.Get(decode.PressurePa)
	return p
}

// speed is what one sample costs the live tracker, on one core: 50 Hz, an
// accelerometer, and the flight as well as the pad.
func speed(b *testing.B, _ float64) {
	spec := ensemble.Nominal50()
	spec.AccelShare = 1
	var f ensemble.Flight
	least := math.Inf(1) // ns a sample, of the flight that was disturbed the least
	var allocs, samples uint64
	for i := range 20 {
		if err := ensemble.DrawInto(&f, spec, 5, uint64(i)); err != nil {
			b.Fatal(err)
		}
		t := track.New(track.Config{Session: "bench", Rocket: f.Rocket, Site: f.Site})
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		start := time.Now()
		for k := range f.Samples {
			t.Sample(&f.Samples[k])
		}
		least = min(least, float64(time.Since(start).Nanoseconds())/float64(len(f.Samples)))
		runtime.ReadMemStats(&after)
		allocs += after.Mallocs - before.Mallocs
		samples += uint64(len(f.Samples))
	}
	b.ReportMetric(least, "ns_per_sample")
	// Rounded down as allocs/op is: the events of a flight allocate.
	b.ReportMetric(float64(allocs/samples), "allocs_per_sample")
}
