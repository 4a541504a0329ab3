package smooth_test

import (
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/ensemble"
	"padlark/flight/smooth"
	"padlark/flight/track"
)

func analyse(t testing.TB, f *ensemble.Flight) (flight.Result, smooth.Series) {
	t.Helper()
	r, s, err := smooth.Analyse(smooth.Config{Session: "test", Rocket: f.Rocket, Site: f.Site}, f.Samples, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	return r, s
}

// within checks an estimate against the truth in its own standard deviations.
func within(t *testing.T, what string, got, sd *float64, want, sds float64) {
	t.Helper()
	if got == nil || sd == nil {
		t.Errorf("%s is not given", what)
		return
	}
	if z := (*got - want) / *sd; math.Abs(z) > sds || math.IsNaN(z) {
		t.Errorf("%s %.3f ± %.3f, true %.3f: %.1f sd", what, *got, *sd, want, z)
	}
}

// TestNominal: every number of a good flight lies within four of its own
// standard deviations of the truth, and the standard deviations are small.
func TestNominal(t *testing.T) {
	for i := range uint64(6) {
		f, err := ensemble.Draw(ensemble.Nominal50(), 4, i)
		if err != nil {
			t.Fatal(err)
		}
		r, s := analyse(t, &f)
		tr := &f.Truth
		within(t, "apogee", r.ApogeeM, r.ApogeeSD, tr.ApogeeM, 3)
		within(t, "time to apogee", r.TimeToApogeeS, r.TimeToApogeeSD, tr.TimeToApogeeS(), 4)
		at := f.S(*r.ApogeeAt)
		within(t, "apogee time", &at, &s.ApogeeTimeSD, tr.ApogeeS, 4)
		within(t, "burnout", r.BurnoutS, r.BurnoutSD, tr.BurnoutS-tr.LiftoffS, 4)
		within(t, "greatest speed", r.MaxSpeedMps, r.MaxSpeedSD, tr.MaxSpeedMps, 4)
		within(t, "release lag", r.ReleaseLagS, r.ReleaseLagSD, tr.ReleaseS-tr.ApogeeS, 4)
		within(t, "sink rate", r.DescentMps, r.DescentSD, tr.DescentMps, 4)
		if s.ApogeeTimeSD > 0.05 || s.ApogeeParts.Readings > 0.6 || *r.ApogeeSD > 0.5+0.02*tr.ApogeeM {
			t.Errorf("flight %d: apogee known to %.3f s, %+v, %.2f m in all", i, s.ApogeeTimeSD, s.ApogeeParts, *r.ApogeeSD)
		}
		if r.TouchdownAt == nil || math.Abs(f.S(*r.TouchdownAt)-tr.TouchdownS) > 0.5 {
			t.Errorf("flight %d: touchdown %v", i, r.TouchdownAt)
		}
		if !strings.HasPrefix(r.Verdict, "good: ") {
			t.Errorf("flight %d: %s", i, r.Verdict)
		}
		checkSeries(t, &f, &s)
	}
}

// checkSeries compares the smoothed heights and speeds with the truth outside
// the boost.
func checkSeries(t *testing.T, f *ensemble.Flight, s *smooth.Series) {
	t.Helper()
	var h2, v2, n float64
	for i, x := range s.T {
		at := x + f.S(s.Start)
		if at < f.Truth.BurnoutS+0.3 || at > f.Truth.TouchdownS-0.3 {
			continue
		}
		p := f.Truth.At(at)
		h2 += (s.Height[i] - p.Height) * (s.Height[i] - p.Height)
		v2 += (s.Speed[i] - p.Speed) * (s.Speed[i] - p.Speed)
		n++
	}
	if h, v := math.Sqrt(h2/n), math.Sqrt(v2/n); h > 0.5+0.002*f.Truth.ApogeeM || v > 0.8 {
		t.Errorf("series: heights off by %.2f m rms, speeds by %.2f m/s", h, v)
	}
}

// TestCases works out what recorded flights of real boards contain.
func TestCases(t *testing.T) {
	for _, c := range ensemble.Cases() {
		t.Run(c.Name, func(t *testing.T) {
			f, err := c.Draw(2)
			if err != nil {
				t.Fatal(err)
			}
			r, _ := analyse(t, &f)
			withinM, withinS, withinMps := 0.4+0.003*f.Truth.ApogeeM, 0.03, 0.06
			switch c.Name {
			case "speed-dip": // the vent's error at speed is taken for drag
				withinS = 0.1
			case "ends-ballistic": // it tumbles from the top on
				withinM, withinS = 2.5, 0.1
			case "lower-after-landing": // 10 m that nothing tells from a sink
				withinMps = 0.3
			}
			if r.ApogeeM == nil || math.Abs(*r.ApogeeM-f.Truth.ApogeeM) > withinM {
				t.Errorf("apogee %.2f m, true %.2f", deref(r.ApogeeM), f.Truth.ApogeeM)
			}
			if r.ApogeeAt == nil || math.Abs(f.S(*r.ApogeeAt)-f.Truth.ApogeeS) > withinS {
				t.Errorf("apogee at %v, true %.3f s", r.ApogeeAt, f.Truth.ApogeeS)
			}
			if c.Name != "ends-ballistic" && !(math.Abs(deref(r.DescentMps)-f.Truth.DescentMps) < withinMps) {
				t.Errorf("sank at %.2f m/s, true %.2f", deref(r.DescentMps), f.Truth.DescentMps)
			}
			if ends := f.S(f.Samples[len(f.Samples)-1].At); ends < f.Truth.TouchdownS && r.TouchdownAt != nil {
				t.Errorf("touchdown at %s in the air", r.TouchdownAt)
			}
		})
	}
}

func deref(p *float64) float64 {
	if p == nil {
		return math.NaN()
	}
	return *p
}

// TestVerdicts: late, early and no release, in words.
func TestVerdicts(t *testing.T) {
	spec := ensemble.Nominal50()
	spec.WaterM = ensemble.Range{Lo: 60, Hi: 120}
	for _, c := range []struct {
		name string
		set  func(s *ensemble.Spec)
		want string
	}{
		{"late", func(s *ensemble.Spec) { s.LateShare = 1; s.LateS = ensemble.Fixed(2.2) }, "bad: released 2."},
		{"early", func(s *ensemble.Spec) { s.EarlyShare = 1; s.EarlyS = ensemble.Fixed(0.8) }, "look: released 0."},
		{"none", func(s *ensemble.Spec) { s.NoneShare = 1 }, "bad: it came down without a parachute"},
	} {
		t.Run(c.name, func(t *testing.T) {
			drawn := spec
			c.set(&drawn)
			f, err := ensemble.Draw(drawn, 3, 1)
			if err != nil {
				t.Fatal(err)
			}
			r, s := analyse(t, &f)
			checkSeries(t, &f, &s)
			if !strings.HasPrefix(r.Verdict, c.want) {
				t.Errorf("verdict %q, want %q...", r.Verdict, c.want)
			}
			within(t, "apogee", r.ApogeeM, r.ApogeeSD, f.Truth.ApogeeM, 4)
		})
	}
}

// TestSameAgain: the same samples give the same result, byte for byte.
func TestSameAgain(t *testing.T) {
	f, err := ensemble.Draw(ensemble.Wide(), 6, 3)
	if err != nil {
		t.Fatal(err)
	}
	one, _ := analyse(t, &f)
	two, _ := analyse(t, &f)
	a, err := json.Marshal(one)
	if err != nil {
		t.Fatal(err)
	}
	b, err := json.Marshal(two)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(string(a), string(b)); d != "" {
		t.Errorf("results differ (-first +second):\n%s", d)
	}
}

// TestNoFlight: what holds no flight is one clear error.
func TestNoFlight(t *testing.T) {
	pad := ensemble.WaitingPad(ensemble.OnPad(), 1, 1, 0.02)
	var waiting []decode.Sample
	for s := range pad.Samples() {
		c := *s
		c.Values.Values = append([]float64(nil), s.Values.Values...)
		waiting = append(waiting, c)
	}
	for name, samples := range map[string][]decode.Sample{"none": nil, "few": waiting[:5], "waiting": waiting} {
		_, _, err := smooth.Analyse(smooth.Config{}, samples, nil, nil)
		if !errors.Is(err, smooth.ErrNoFlight) {
			t.Errorf("%s: error %v", name, err)
		}
	}
}

// TestCut divides a session with two flights.
func TestCut(t *testing.T) {
	f, err := ensemble.Draw(ensemble.Nominal50(), 9, 1)
	if err != nil {
		t.Fatal(err)
	}
	later := 5 * time.Minute
	session := append([]decode.Sample(nil), f.Samples...)
	for _, s := range f.Samples {
		s.At, s.Heard, s.Boot = s.At.Add(later), s.Heard.Add(later), 2
		session = append(session, s)
	}
	tr := track.New(track.Config{Session: "test", Rocket: f.Rocket, Site: f.Site})
	var events []flight.Event
	for i := range session {
		events = append(events, tr.Sample(&session[i])...)
	}
	pieces := smooth.Cut(session, events)
	if len(pieces) != 2 {
		t.Fatalf("%d pieces", len(pieces))
	}
	for i, p := range pieces {
		off := time.Duration(i) * later
		if p.Flight != i+1 || len(p.Samples) < len(f.Samples)/2 {
			t.Errorf("piece %d: flight %d, %d samples", i, p.Flight, len(p.Samples))
		}
		r, _, err := smooth.Analyse(smooth.Config{Session: "test", Rocket: f.Rocket, Site: f.Site}, p.Samples, p.Events, nil)
		if err != nil {
			t.Fatal(err)
		}
		if r.Flight != i+1 || math.Abs(f.S(r.ApogeeAt.Add(-off))-f.Truth.ApogeeS) > 0.1 || r.ApogeeCalledLate == nil {
			t.Errorf("piece %d: flight %d, apogee at %s", i, r.Flight, r.ApogeeAt)
		}
	}
}
