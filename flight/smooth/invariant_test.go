package smooth_test

import (
	"flag"
	"math"
	"os"
	"regexp"
	"sort"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/ensemble"
	"padlark/flight/smooth"
	"padlark/flight/track"
)

// truth is what is known of a drawn flight, NaN for what is not; s since epoch.
type truth struct {
	epoch            time.Time
	apogeeS, apogeeM float64
}

// worked is a flight that was followed live and worked out afterwards.
type worked struct {
	samples []decode.Sample
	events  []flight.Event
	r       flight.Result
	s       smooth.Series
}

// reporter is a test or one draw of it.
type reporter interface {
	Helper()
	Errorf(format string, args ...any)
	Fatal(args ...any)
}

// workOut follows samples live, with the ticks that a station gives, and works
// out their first flight. ok is false when there is none.
func workOut(t reporter, rocket flight.Rocket, site flight.Site, samples []decode.Sample) (worked, bool) {
	t.Helper()
	cfg := track.Config{Session: "test", Rocket: rocket, Site: site}
	tr := track.New(cfg)
	var events []flight.Event
	for i := range samples {
		events = append(events, tr.Sample(&samples[i])...)
	}
	pieces := smooth.Cut(samples, events)
	if len(pieces) == 0 {
		return worked{}, false
	}
	w := worked{samples: samples, events: pieces[0].Events}
	var err error
	if w.r, w.s, err = smooth.Analyse(smooth.Config(cfg), pieces[0].Samples, w.events, nil); err != nil {
		t.Fatal(err)
	}
	return w, true
}

var figure = regexp.MustCompile(`(?:about|up to) (\d+) m/s`)

// checkResult is what holds of every result, whatever the flight: things happen in
// their order and while the board was heard; every quantity has a spread; every speed
// in the verdict is one that the readings show; nothing is called told that was not.
// With a truth: the top is not worse than the live call by more than its own spread.
func checkResult(t reporter, w *worked, tr truth) {
	t.Helper()
	r := &w.r
	first, last := w.samples[0].At, w.samples[0].At
	for i := range w.samples {
		if at := w.samples[i].At; at.After(last) {
			last = at
		}
	}
	moments := []*time.Time{r.LaunchedAt, r.ApogeeAt, r.TouchdownAt}
	for i, m := range moments {
		if m == nil {
			continue
		}
		if m.Before(first.Add(-time.Second)) || m.After(last.Add(2*time.Second)) {
			t.Errorf("moment %d at %s, heard from %s to %s", i, m, first, last)
		}
		for _, later := range moments[i+1:] {
			if later != nil && later.Before(*m) {
				t.Errorf("moment %d at %s is after one that follows it, at %s", i, m, later)
			}
		}
	}
	for _, q := range []struct {
		name  string
		v, sd *float64
	}{
		{"apogee", r.ApogeeM, r.ApogeeSD}, {"time to apogee", r.TimeToApogeeS, r.TimeToApogeeSD},
		{"greatest speed", r.MaxSpeedMps, r.MaxSpeedSD}, {"release", r.ReleaseLagS, r.ReleaseLagSD}, {"sink rate", r.DescentMps, r.DescentSD},
	} {
		if q.v != nil && (q.sd == nil || !(*q.sd > 0) || math.IsInf(*q.sd, 0) || math.IsNaN(*q.v)) {
			t.Errorf("%s is %v ± %v", q.name, *q.v, deref(q.sd))
		}
	}
	told := false
	for _, e := range w.events {
		told = told || e.Kind == flight.Release && strings.HasPrefix(e.Note, "told")
	}
	if strings.Contains(r.Verdict, "told") && !told {
		t.Errorf("verdict %q, but nobody told", r.Verdict)
	}
	shown := steepest(&w.s)
	for _, m := range figure.FindAllStringSubmatch(r.Verdict, -1) {
		if v, err := strconv.ParseFloat(m[1], 64); err != nil || v > shown+9.81*0.8/2+2 {
			t.Errorf("verdict %q, but the readings show %.1f m/s at the most", r.Verdict, shown)
		}
	}
	checkTop(t, w, tr)
}

// checkTop compares the apogee with that of the live call.
func checkTop(t reporter, w *worked, tr truth) {
	t.Helper()
	if math.IsNaN(tr.apogeeM) || w.r.ApogeeAt == nil || w.r.ApogeeM == nil {
		return
	}
	for _, e := range w.events {
		if e.Kind != flight.Apogee || e.AltitudeM == nil {
			continue
		}
		liveM, gotM := math.Abs(*e.AltitudeM-tr.apogeeM), math.Abs(*w.r.ApogeeM-tr.apogeeM)
		if gotM > liveM+1+0.011*tr.apogeeM+2**w.r.ApogeeSD+2*deref(e.AltitudeSD) {
			t.Errorf("apogee %.1f ± %.1f m, true %.1f, called live at %.1f", *w.r.ApogeeM, *w.r.ApogeeSD, tr.apogeeM, *e.AltitudeM)
		}
		liveS := math.Abs(e.At.Sub(tr.epoch).Seconds() - tr.apogeeS)
		gotS := math.Abs(w.r.ApogeeAt.Sub(tr.epoch).Seconds() - tr.apogeeS)
		if gotS > liveS+0.31+2*w.s.ApogeeTimeSD+2*deref(e.AtSD) {
			t.Errorf("apogee %.2f s off, called live %.2f s off", gotS, liveS)
		}
	}
}

// steepest is the greatest slope, up or down, of a straight line through the readings
// of 0.8 s: by least squares, which is another way than that of the verdict.
func steepest(s *smooth.Series) float64 {
	most := 0.0
	for i := range s.T {
		j := sort.SearchFloat64s(s.T, s.T[i]+0.8)
		if j-i < 3 {
			j = min(len(s.T), i+3)
		}
		n := float64(j - i)
		if n < 3 {
			break
		}
		var mt, mh, tt, th float64
		for k := i; k < j; k++ {
			mt, mh = mt+s.T[k]/n, mh+s.Raw[k]/n
		}
		for k := i; k < j; k++ {
			tt, th = tt+(s.T[k]-mt)*(s.T[k]-mt), th+(s.T[k]-mt)*(s.Raw[k]-mh)
		}
		if tt > 0 {
			most = math.Max(most, math.Abs(th/tt))
		}
	}
	return most
}

// TestEveryResult holds the results of all worlds to what must hold of each.
func TestEveryResult(t *testing.T) {
	none := func(*randSource) float64 { return math.NaN() }
	worlds := map[string]func(*drawSpec){
		"usual":       func(*drawSpec) {},
		"undescribed": func(s *drawSpec) { s.described, s.coldAndHot = false, true },
		"late":        func(s *drawSpec) { s.lag = func(r *randSource) float64 { return between(r, 1.5, 4) } },
		"early":       func(s *drawSpec) { s.lag = func(r *randSource) float64 { return between(r, -1.3, -0.5) } },
		"none":        func(s *drawSpec) { s.lag = none },
		"tumbles":     func(s *drawSpec) { s.lag, s.tumbles = none, true },
		"two stages":  func(s *drawSpec) { s.stages, s.apogeeRange = true, [2]float64{120, 600} },
		"no pad":      func(s *drawSpec) { s.padS = -1 },
		"ends in air": func(s *drawSpec) { s.endsInAir = 0.5 },
	}
	for name, change := range worlds {
		t.Run(name, func(t *testing.T) {
			spec := usual()
			change(&spec)
			for i := range uint64(5) {
				d := draw(spec, 31, i)
				w, ok := workOut(t, d.cfg, d.site, d.samples)
				if !ok {
					t.Errorf("flight %d was not seen", i)
					continue
				}
				top := truth{d.epoch, d.apogee, d.apogeeM}
				if spec.padS < 0 {
					top.apogeeM = math.NaN() // above a pad that nobody read
				}
				checkResult(t, &w, top)
			}
		})
	}
	for _, c := range append(ensemble.Cases(), ensemble.RoughCases()...) {
		t.Run(c.Name, func(t *testing.T) {
			f, err := c.Draw(5)
			if err != nil {
				t.Fatal(err)
			}
			if w, ok := workOut(t, f.Rocket, f.Site, f.Samples); ok {
				checkResult(t, &w, truth{f.Epoch, f.Truth.ApogeeS, math.NaN()})
			}
		})
	}
}

// TestNeverWorse draws flights of the wide and the rough world and holds each result to
// the same, above all that it is not worse than the live call by more than both say. A
// few and always the same ones in CI; PADLARK_RESULTS=100 draws so many others.
func TestNeverWorse(t *testing.T) {
	checks, seed := "16", "19"
	if long := os.Getenv("PADLARK_RESULTS"); long != "" {
		checks, seed = long, "0" // 0: by the clock
	}
	for name, v := range map[string]string{"rapid.checks": checks, "rapid.seed": seed} {
		was := flag.Lookup(name).Value.String()
		if err := flag.Set(name, v); err != nil {
			t.Fatal(err)
		}
		defer flag.Set(name, was)
	}
	worlds := []ensemble.Spec{ensemble.Rough(), ensemble.Wide()}
	rapid.Check(t, func(t *rapid.T) {
		spec := worlds[rapid.IntRange(0, 1).Draw(t, "world")]
		f, err := ensemble.Draw(spec, rapid.Uint64().Draw(t, "seed"), rapid.Uint64Range(0, 1e6).Draw(t, "index"))
		if err != nil {
			t.Fatal(err)
		}
		if rapid.Bool().Draw(t, "untold") {
			withoutRelease(&f)
		}
		if w, ok := workOut(t, f.Rocket, f.Site, f.Samples); ok {
			checkResult(t, &w, truth{f.Epoch, f.Truth.ApogeeS, f.Truth.ApogeeM})
		}
	})
}

// TestInferred: without a word of the board the release of healthy flights is found
// without a bias, as well as it says, and none of them is called early or bad.
func TestInferred(t *testing.T) {
	const n = 60
	var mean, in float64
	wrong := 0
	for i := range uint64(n) {
		d := draw(usual(), 41, i)
		w, ok := workOut(t, d.cfg, d.site, d.samples)
		if !ok {
			t.Fatalf("flight %d was not seen", i)
		}
		if v := w.r.Verdict; strings.HasPrefix(v, "bad") || strings.Contains(v, "upward") {
			t.Logf("flight %d, released %.2f s after apogee: %s", i, d.release-d.apogee, v)
			wrong++
		}
		if w.r.ReleaseLagS == nil {
			continue
		}
		off := *w.r.ReleaseLagS - (d.release - d.apogee)
		mean += off / n
		if math.Abs(off) < 1.96**w.r.ReleaseLagSD {
			in++
		}
	}
	// The mean of so many has a spread of 0.025 s of its own; the cloth is out 0.06 s
	// after the command here.
	if math.Abs(mean-0.06) > 0.1 || in < 0.88*n || wrong > 1 {
		t.Errorf("%.3f s late in the mean, %.0f of %d within 1.96 sd, %d wrongly judged", mean, in, n, wrong)
	}
}
