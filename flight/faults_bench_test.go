package flight_test

import (
	"fmt"
	"math"
	"runtime"
	"sync"
	"testing"

	"padlark/flight/ensemble"
)

// Sizes and seed of the full suite.
const (
	faultFlights   = 500
	nominalFlights = 5000
	poorFlights    = 1000
	suiteSeed      = 4242
)

// BenchmarkFaults runs the fault suite: each named fault in 500 simulated
// flights, and nominal flights that must raise nothing. Per kind it reports
//
//	recall         share of the flights in which a right alarm came in time
//	delay_p50_ms   from the onset of the fault to the alarm
//	delay_p99_ms   (negative where it was foretold)
//	other_alarms   alarms of other kinds per flight
//
// for flights that fall without a parachute, from 50 m and more,
//
//	warning_left_fraction  share of the fall still to come at the alarm, in all
//	                       but 1 % of the flights; _p50 in half of them
//	warning_left_s         the same in s, in half of them
//
// When the parachute stays in, what can be left of a fall from 50 m, which takes
// 3.4 s, is bounded by parachutes that do open. One released 0.5 s after the apogee
// brakes by 1.1 s, and 0.3 s of readings tell that it does not: 0.58 is left. In the
// rough world one is released up to 0.9 s after the apogee, comes out 0.35 s later and
// fills over 9 diameters: 0.35 to 0.5. Where nobody tells of the release it may have
// come at the end of the delay of 1 s: nothing before 1.4 s says that it did not, and
// 0.6 is left from 75 m on.
//
// The same in the wide and in the rough world, on a fifth of the flights, stands
// under wide_*, rough_* and, for boards that send clock and height only, untold_*:
// of these only what can be seen in the height is found.
//
// Nominal flights report false_alarms_per_1000_flights. The flights of slow10
// (10 Hz, 0.5 m, 10 % lost) and wide (up to 1 m of noise, 30 % lost in bursts,
// 10 Pa steps, outliers) are beyond the target and there to watch.
//
//	go test ./flight/... -run=NONE -bench=Faults -benchtime=1x
func BenchmarkFaults(b *testing.B) {
	for _, k := range ensemble.Faults() {
		b.Run(string(k.Kind), func(b *testing.B) {
			for range b.N {
				reportFault(b, k.Kind, scaled(b, faultFlights))
			}
		})
	}
	for _, n := range []struct {
		spec ensemble.Spec
		n    int
	}{{ensemble.Nominal50(), nominalFlights}, {ensemble.Slow10(), poorFlights}, {wideNominal(), poorFlights}, {ensemble.Rough(), poorFlights}} {
		b.Run("none-"+n.spec.Name, func(b *testing.B) {
			for range b.N {
				reportNominal(b, n.spec, scaled(b, n.n))
			}
		})
	}
}

// scaled is n flights times PADLARK_BENCH, twenty at least.
func scaled(b *testing.B, n int) int { return max(20, int(float64(n)*benchScale(b))) }

// wideNominal is the wide ensemble with releases in time.
func wideNominal() ensemble.Spec {
	s := ensemble.Wide()
	s.LateShare, s.EarlyShare, s.NoneShare = 0, 0, 0
	s.ReleaseLagS = ensemble.Range{Lo: 0, Hi: 0.7}
	return s
}

// each calls f for 0 to n-1, on as many goroutines as there are processors,
// and waits for them.
func each(n int, f func(i int)) {
	var wg sync.WaitGroup
	next := make(chan int)
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := range next {
				f(i)
			}
		})
	}
	for i := range n {
		next <- i
	}
	close(next)
	wg.Wait()
}

// world is one of those that faults are put into; its name stands before the metrics.
type world struct {
	name string
	spec ensemble.Spec
}

// faultWorlds are the nominal, the wide and the rough world, with rockets that are
// described and boards that tell, and the rough one with boards that send clock and
// height only.
func faultWorlds() []world {
	wide := wideNominal()
	wide.WaterM = ensemble.ForFaults().WaterM
	rough, untold := ensemble.Rough(), ensemble.Rough()
	rough.WaterM, untold.WaterM = wide.WaterM, wide.WaterM
	told, bare := *rough.Hard, *untold.Hard
	told.UntoldShare, told.UndescribedShare, told.NoTempShare = 0, 0, 0
	bare.UntoldShare = 1
	rough.Hard, untold.Hard = &told, &bare
	return []world{{"", ensemble.ForFaults()}, {"wide_", wide}, {"rough_", rough}, {"untold_", untold}}
}

// tally gathers outcomes from several goroutines.
type tally struct {
	sync.Mutex
	n, hits, others int
	delays          []float64
	leftS, leftPart []float64
	missed          []uint64
}

// add takes one outcome.
func (t *tally) add(o outcome) {
	t.Lock()
	defer t.Unlock()
	t.n++
	t.others += len(o.others)
	u := &o.flight.Truth
	falls := (o.truth.Kind == "ballistic" || o.truth.Kind == "no-release") && u.ApogeeM >= 50
	if !o.hit {
		t.missed = append(t.missed, o.flight.Index)
		if falls {
			t.leftS, t.leftPart = append(t.leftS, 0), append(t.leftPart, 0)
		}
		return
	}
	t.hits++
	t.delays = append(t.delays, o.delay)
	if falls {
		t.leftS = append(t.leftS, u.TouchdownS-o.first.at)
		t.leftPart = append(t.leftPart, (u.TouchdownS-o.first.at)/(u.TouchdownS-u.ApogeeS))
	}
}

func (t *tally) recall() float64 { return float64(t.hits) / float64(t.n) }

// runFault is the tally of one kind over n flights of a spec.
func runFault(tb testing.TB, spec ensemble.Spec, kind ensemble.FaultKind, seed uint64, n int) *tally {
	tb.Helper()
	var t tally
	each(n, func(i int) {
		o, err := faulty(spec, kind, seed, uint64(i))
		if err != nil {
			tb.Error(err)
			return
		}
		t.add(o)
	})
	return &t
}

func reportFault(b *testing.B, kind ensemble.FaultKind, n int) {
	b.Helper()
	b.ReportMetric(0, "ns/op")
	for _, w := range faultWorlds() {
		few := n
		if w.name != "" {
			few = max(20, n/5)
		}
		reportWorld(b, w, runFault(b, w.spec, kind, suiteSeed, few), few)
	}
}

// reportWorld reports one kind in one world.
func reportWorld(b *testing.B, w world, t *tally, n int) {
	b.Helper()
	b.ReportMetric(t.recall(), w.name+"recall")
	b.ReportMetric(1000*quantile(t.delays, 0.5), w.name+"delay_p50_ms")
	b.ReportMetric(1000*quantile(t.delays, 0.99), w.name+"delay_p99_ms")
	b.ReportMetric(float64(t.others)/float64(n), w.name+"other_alarms")
	if len(t.leftS) > 0 {
		b.ReportMetric(quantile(t.leftPart, 0.01), w.name+"warning_left_fraction")
		b.ReportMetric(quantile(t.leftPart, 0.5), w.name+"warning_left_fraction_p50")
		b.ReportMetric(quantile(t.leftS, 0.5), w.name+"warning_left_s")
	}
	if len(t.missed) > 0 {
		b.Logf("%smissed in flights %v", w.name, t.missed)
	}
}

// runNominal gives the false alarms of n nominal flights, by kind.
func runNominal(tb testing.TB, spec ensemble.Spec, seed uint64, n int) (byKind map[string]int, said []string) {
	tb.Helper()
	byKind = map[string]int{}
	var mu sync.Mutex
	each(n, func(i int) {
		f, err := ensemble.Draw(spec, seed, uint64(i))
		if err != nil {
			tb.Error(err)
			return
		}
		end := 0.0
		if k := len(f.Samples); k > 0 {
			end = f.S(f.Samples[k-1].Heard)
		}
		raised, err := listen(&f, end)
		if err != nil {
			tb.Error(err)
			return
		}
		for _, r := range falseAlarms(&f, raised) {
			mu.Lock()
			byKind[r.alarm.Kind]++
			said = append(said, fmt.Sprintf("flight %d at %.1f s: %s: %s", i, r.at, r.alarm.Kind, r.alarm.Reason))
			mu.Unlock()
		}
	})
	return byKind, said
}

func reportNominal(b *testing.B, spec ensemble.Spec, n int) {
	b.Helper()
	byKind, said := runNominal(b, spec, suiteSeed+benchSeed(b), n)
	for _, what := range said {
		b.Log(what)
	}
	total := 0
	for kind, k := range byKind {
		total += k
		b.ReportMetric(1000*float64(k)/float64(n), "false_"+kind+"_per_1000")
	}
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(1000*float64(total)/float64(n), "false_alarms_per_1000_flights")
}

// The shortened suite: recall must not fall, and nominal flights stay silent.
func TestFaultsAreFound(t *testing.T) {
	const n = 6
	found, all := 0, 0
	for _, k := range ensemble.Faults() {
		y := runFault(t, ensemble.ForFaults(), k.Kind, 99, n)
		found, all = found+y.hits, all+y.n
		if y.recall() < 0.8 {
			t.Errorf("%s (%s): found in %d of %d flights; missed in %v", k.Kind, k.Says, y.hits, n, y.missed)
		}
		if p := quantile(y.leftPart, 0); !math.IsNaN(p) && p < 0.5 {
			t.Errorf("%s: only %.0f %% of the fall left at the alarm", k.Kind, 100*p)
		}
	}
	if recall := float64(found) / float64(all); recall < 0.98 {
		t.Errorf("found %d of %d faults, %.3f; want 0.98", found, all, recall)
	}
}

func TestNominalFlightsRaiseNothing(t *testing.T) {
	for _, spec := range []ensemble.Spec{ensemble.Nominal50(), ensemble.Slow10()} {
		if _, said := runNominal(t, spec, 99, 100); len(said) > 0 {
			t.Errorf("%s: %d false alarms in 100 flights, the first: %s", spec.Name, len(said), said[0])
		}
	}
}
