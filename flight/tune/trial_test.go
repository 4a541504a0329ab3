package tune

import (
	"math"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"padlark/flight/atmos"
	"padlark/flight/ensemble"
)

// flown is a trial of n flights, drawn by several workers.
func flown(t testing.TB, spec ensemble.Spec, seed uint64, n, workers int, settings []Settings) *Trial {
	t.Helper()
	trial, err := newTrial(spec, seed, n, settings)
	if err != nil {
		t.Fatal(err)
	}
	var wg sync.WaitGroup
	errs := make([]error, workers)
	for k := range workers {
		wg.Go(func() {
			w := trial.NewWorker()
			for i := k; i < n && errs[k] == nil; i += workers {
				errs[k] = w.Fly(i)
			}
		})
	}
	wg.Wait()
	for _, err := range errs {
		if err != nil {
			t.Fatal(err)
		}
	}
	return trial
}

// grid is a small grid of all families.
func grid() []Settings {
	s := base()
	s.Median, s.LockoutMs, s.BackupMs = true, 700, 20000
	var out []Settings
	for _, f := range Families() {
		n := Narrow{Family: f, Samples: []uint8{1, 3}}
		if f == Drop {
			n.DropCm, n.Shift = []int32{50, 150}, []uint8{0, 2}
		}
		out = append(out, Grid(s, n)...)
	}
	return out
}

func TestSameWhateverTheWorkers(t *testing.T) {
	one := flown(t, usual(), 3, 60, 1, grid()).Stats(0.1)
	five := flown(t, usual(), 3, 60, 5, grid()).Stats(0.1)
	if d := cmp.Diff(one, five); d != "" {
		t.Errorf("one worker and five differ (-one +five):\n%s", d)
	}
	if d := cmp.Diff(one, flown(t, usual(), 4, 60, 2, grid()).Stats(0.1)); d == "" {
		t.Error("another seed gives the same")
	}
}

// The rates of flights by which settings are chosen agree with those of fresh
// flights: for the choice, and for nearly all that could have been chosen.
func TestFreshFlightsAgree(t *testing.T) {
	const n = 800
	spec := Poor()
	spec.NoiseM = ensemble.Range{Lo: 0.8, Hi: 1.2} // so that rules do fail
	old := flown(t, spec, 11, n, 2, grid()).Stats(0.1)
	fresh := flown(t, spec, 12, n, 2, grid()).Stats(0.1)
	apart, failing := 0, 0
	for i := range old {
		if !agree(old[i].Failed, fresh[i].Failed) {
			apart++
		}
		if old[i].Failed.Count > 0 {
			failing++
		}
	}
	// Rules share flights, so that their rates go astray together.
	if apart > len(old)/5 || failing < len(old)/3 {
		t.Errorf("%d of %d rates differ; %d rules fail at all", apart, len(old), failing)
	}
	c := Choose(old, 0.02)
	if !agree(old[c.Index].Failed, fresh[c.Index].Failed) || !c.Sure {
		t.Errorf("chosen %v: %+v, and on fresh flights %+v", old[c.Index].Settings, old[c.Index].Failed, fresh[c.Index].Failed)
	}
}

func TestJudge(t *testing.T) {
	f := Flight{
		LiftoffS: 1, ApogeeS: 5, TouchdownS: 9, ApogeeM: 78.45, ReleasedS: math.Inf(1),
		At: func(s float64) (float64, float64) { return 78.45 - 4.905*(s-5)*(s-5), -9.81 * (s - 5) },
	}
	for i := range 1200 {
		s := float64(i) / 100
		h, _ := f.At(s)
		f.add(s, int64(i)*10000, 101325-12.013*max(h, 0))
	}
	s := base()
	o := Judge(&s, &f)
	if o.By != ByRule || math.Abs(float64(o.LagS)-0.55) > 0.03 || math.Abs(float64(o.BelowM)-1.5) > 0.15 ||
		math.Abs(float64(o.SpeedMps)+5.4) > 0.3 || math.Abs(float64(o.HeightM+o.BelowM)-78.45) > 1e-3 {
		t.Errorf("outcome %+v", o)
	}
	s.DropCm = 50000
	if o := Judge(&s, &f); o != (Outcome{}) {
		t.Errorf("cannot release, but %+v", o)
	}
	s.BackupMs = 9000 // after the ground
	if o := Judge(&s, &f); o != (Outcome{}) {
		t.Errorf("released on the ground, and it counts: %+v", o)
	}
}

func TestSumUp(t *testing.T) {
	s := sumUp(base(), []Outcome{{By: ByRule, LagS: 0.2}, {By: ByRule, LagS: -0.05}, {By: byBackup, LagS: -2}, {}, {By: byBackup, LagS: 1}}, 0.1)
	got := []int{s.Early.Count, s.Never.Count, s.Failed.Count, s.Backup.Count}
	if d := cmp.Diff([]int{1, 1, 2, 2}, got); d != "" {
		t.Errorf("counts (-want +got):\n%s", d)
	}
	if math.Abs(s.LagS.P50-0.075) > 1e-6 {
		t.Errorf("median lag %g s", s.LagS.P50)
	}
	if s := sumUp(base(), make([]Outcome, 3), 0.1); s.LagS != nil || s.Never.Count != 3 {
		t.Errorf("no release: %+v", s)
	}
}

func TestChoose(t *testing.T) {
	rule := func(failed int, lag float64) Stats {
		return Stats{Failed: newRate(failed, 10000), LagS: &Spread{P95: lag}}
	}
	none := Stats{Failed: newRate(10000, 10000)}
	for _, c := range []struct {
		name string
		all  []Stats
		want Choice
	}{
		{"the fastest", []Stats{none, rule(0, 0.9), rule(0, 0.5), rule(300, 0.1)}, Choice{2, true}},
		{"safer and hardly later", []Stats{rule(3, 0.5), rule(0, 0.58), rule(0, 0.7)}, Choice{1, true}},
		{"safer and much later", []Stats{rule(3, 0.5), rule(0, 0.7)}, Choice{0, true}},
		{"none sure", []Stats{rule(90, 0.5), rule(40, 2), rule(40, 1)}, Choice{2, false}},
		{"none releases", []Stats{none}, Choice{0, false}},
	} {
		if got := Choose(c.all, 0.001); got != c.want {
			t.Errorf("%s: %+v, want %+v", c.name, got, c.want)
		}
	}
	front := Front([]Stats{rule(5, 0.5), rule(5, 0.6), rule(0, 0.9), rule(5, 0.5), rule(100, 0.2), none})
	if d := cmp.Diff([]int{4, 0, 2}, front); d != "" {
		t.Errorf("front (-want +got):\n%s", d)
	}
}

func TestArmFor(t *testing.T) {
	for _, c := range []struct {
		lowest, noise float64
		want          int32
	}{{40, 0.3, 1000}, {5, 0.3, 200}, {300, 0.3, 2000}, {40, 2.5, 1500}, {20, 4, 1000}} {
		if got := ArmFor(c.lowest, c.noise); got != c.want {
			t.Errorf("apogee %g m, noise %g m: %d cm, want %d cm", c.lowest, c.noise, got, c.want)
		}
	}
}

func TestTimes(t *testing.T) {
	n := math.NaN()
	sc := &Scout{ToApogee: []float64{2, n, 4, 3.1}, ToGround: []float64{4.5, n, 9, 7}}
	got, err := sc.Times()
	want := Times{ShortestS: 2, LongestS: 4, GroundS: 4.5, LockoutS: 1, BackupS: 4.7, TooLate: 0.5}
	if d := cmp.Diff(want, got); err != nil || d != "" {
		t.Errorf("%v (-want +got):\n%s", err, d)
	}
	if got := sc.With(got, nil, new(float64)); got.BackupS != 0 || got.LockoutS != 1 {
		t.Errorf("without backup: %+v", got)
	}
	if _, err := (&Scout{ToApogee: []float64{n}, ToGround: []float64{n}}).Times(); err == nil {
		t.Error("never armed: no error")
	}
	// The scout of drawn flights: lock-out and backup harm none of them.
	s := base()
	trial, err := newTrial(usual(), 9, 50, []Settings{s})
	if err != nil {
		t.Fatal(err)
	}
	w, sc := trial.NewWorker(), newScout(50)
	for i := range 50 {
		if err := w.Look(sc, s, i); err != nil {
			t.Fatal(err)
		}
	}
	times, err := sc.Times()
	if err != nil || times.LockoutS < 0.3 || times.LongestS > 5 || times.BackupS < times.LongestS {
		t.Errorf("%+v, %v", times, err)
	}
}

func TestPadHour(t *testing.T) {
	s := base()
	s.Median = true
	if padHour(s, Poor(), 5, 0) {
		t.Error("armed on the pad at 5 m")
	}
	s.ArmCm, s.ArmSamples = 100, 1
	if !padHour(s, Poor(), 5, 0) {
		t.Error("not armed by noise of half a metre in an hour with an arming height of 1 m")
	}
}

// 10,000 flights for each setting: what one more setting costs, and what the
// flights cost that all settings share; one goroutine. A full grid has some 120
// settings, so that its share of the draws is a small part.
func BenchmarkTenThousand(b *testing.B) {
	settings := grid()
	trial, err := newTrial(usual(), 1, 10000, settings)
	if err != nil {
		b.Fatal(err)
	}
	w := trial.NewWorker()
	var draw, judge time.Duration
	n := 0
	for b.Loop() {
		i := n % 10000
		n++
		t0 := time.Now()
		if err := ensemble.DrawInto(&w.drawn, trial.Spec, trial.Seed, uint64(i)); err != nil {
			b.Fatal(err)
		}
		FromEnsemble(&w.board, &w.drawn)
		t1 := time.Now()
		for k := range settings {
			trial.outcomes[k][i] = Judge(&settings[k], &w.board)
		}
		draw += t1.Sub(t0)
		judge += time.Since(t1)
	}
	b.ReportMetric(draw.Seconds()/float64(n)*1e4, "s/10000_draws")
	b.ReportMetric(judge.Seconds()/float64(n)*1e4/float64(len(settings)), "s/10000_flights_of_a_setting")
}

// Solid rockets fly as they are described: within their apogees, longer and
// faster than water rockets of the same ones, and a good rule opens for them too.
func TestSolidRockets(t *testing.T) {
	spec := usual()
	spec.SolidShare = 1
	spec.SolidM = ensemble.Range{Lo: 150, Hi: 300}
	spec.MassKg, spec.DiameterM = ensemble.Range{Lo: 0.09, Hi: 0.12}, ensemble.Fixed(0.034)
	var f Flight
	rule := base()
	rule.Family, rule.DropCm, rule.Shift, rule.Samples = Drop, 150, 2, 2
	for i := range 200 {
		drawn, err := ensemble.Draw(spec, 3, uint64(i))
		if err != nil {
			t.Fatal(err)
		}
		FromEnsemble(&f, &drawn)
		r := drawn.Rocket
		if !f.Solid || r.Kind != "solid" || r.MassKg < 0.09 || r.MassKg > 0.12 || r.DiameterM != 0.034 {
			t.Fatalf("flight %d is of %+v", i, r)
		}
		if f.ApogeeM < 0.97*150 || f.ApogeeM > 1.03*300 {
			t.Errorf("flight %d: apogee %.1f m", i, f.ApogeeM)
		}
		if o := Judge(&rule, &f); o.By != ByRule || o.LagS < 0 || o.LagS > 2 {
			t.Errorf("flight %d: %+v", i, o)
		}
		// Nothing rises for longer, nor as slowly, as without drag (Newton).
		if up := f.ApogeeS - f.LiftoffS; up > 2+math.Sqrt(2*f.ApogeeM/atmos.StandardGravity) || drawn.Truth.MaxSpeedMps < 0.9*math.Sqrt(2*atmos.StandardGravity*(f.ApogeeM-100)) {
			t.Errorf("flight %d: %.1f s up at %.0f m/s to %.0f m", i, up, drawn.Truth.MaxSpeedMps, f.ApogeeM)
		}
	}
}
