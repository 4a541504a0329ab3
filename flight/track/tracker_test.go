package track_test

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/ensemble"
	"padlark/flight/track"
)

func draw(t testing.TB, spec ensemble.Spec, index uint64) ensemble.Flight {
	t.Helper()
	f, err := ensemble.Draw(spec, 21, index)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// TestSameAgain: the same samples give the same events, byte for byte.
func TestSameAgain(t *testing.T) {
	f := draw(t, ensemble.Wide(), 2)
	one, err := json.Marshal(run(&f))
	if err != nil {
		t.Fatal(err)
	}
	two, err := json.Marshal(run(&f))
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(string(one), string(two)); d != "" {
		t.Errorf("events differ (-first +second):\n%s", d)
	}
}

// TestNoAllocation: a sample without an event allocates nothing, on the pad
// and in flight.
func TestNoAllocation(t *testing.T) {
	f := draw(t, ensemble.Nominal50(), 2)
	tr := track.New(track.Config{Session: "test", Rocket: f.Rocket, Site: f.Site})
	next := 0
	feed := func(until float64) {
		for ; next < len(f.Samples) && f.S(f.Samples[next].At) < until; next++ {
			tr.Sample(&f.Samples[next])
		}
	}
	for _, at := range []struct {
		name string
		s    float64
	}{
		{"pad", f.Truth.LiftoffS - 3}, {"coast", (f.Truth.LiftoffS + f.Truth.ApogeeS) / 2}, {"descent", f.Truth.ReleaseS + 4},
	} {
		feed(at.s)
		if n := testing.AllocsPerRun(20, func() { tr.Sample(&f.Samples[next]); next++ }); n != 0 {
			t.Errorf("%s: %g allocations a sample", at.name, n)
		}
	}
}

// TestPredictionWhileClimbing: from half way up the predicted apogee lies
// within four of its own standard deviations, and ends when it is reached.
func TestPredictionWhileClimbing(t *testing.T) {
	for i := range uint64(5) {
		f := draw(t, ensemble.Nominal50(), i)
		tr := track.New(track.Config{Session: "test", Rocket: f.Rocket, Site: f.Site})
		seen := 0
		for k := range f.Samples {
			tr.Sample(&f.Samples[k])
			s, now := tr.State(), f.S(f.Samples[k].At)
			if s.ToApogeeS == nil {
				continue
			}
			if s.Phase == flight.Descent || s.Phase == flight.Waiting {
				t.Fatalf("flight %d: a prediction in phase %s", i, s.Phase)
			}
			if now < (f.Truth.LiftoffS+f.Truth.ApogeeS)/2 {
				continue
			}
			seen++
			if e := *s.ToApogeeS - (f.Truth.ApogeeS - now); math.Abs(e) > 4**s.ToApogeeSD+0.02 {
				t.Errorf("flight %d at %.2f s: to apogee off by %.3f s, sd %.3f", i, now, e, *s.ToApogeeSD)
			}
			if e := *s.PredictedM - f.Truth.ApogeeM; math.Abs(e) > 4**s.PredictedSD+0.7 {
				t.Errorf("flight %d at %.2f s: predicted off by %.2f m, sd %.2f", i, now, e, *s.PredictedSD)
			}
		}
		if seen < 10 {
			t.Errorf("flight %d: %d predictions", i, seen)
		}
	}
}

// TestBoardWithAltitude: a board that sends metres instead of pressure.
func TestBoardWithAltitude(t *testing.T) {
	f := draw(t, ensemble.Nominal50(), 1)
	names := []string{decode.AltitudeM}
	for i := range f.Samples {
		p, _ := f.Samples[i].Values.Get(decode.PressurePa)
		// The standard atmosphere's inverse (ISO 2533), above the board's zero.
		h := 44330.769 * (1 - math.Pow(p/101325, 0.190263237))
		f.Samples[i].Values = decode.Channels{Names: names, Values: []float64{h}}
	}
	e := only(t, run(&f), flight.Apogee)
	if e == nil {
		t.Fatal("no apogee")
	}
	if d := f.S(e.At) - f.Truth.ApogeeS; math.Abs(d) > 0.1 {
		t.Errorf("apogee is off by %.3f s", d)
	}
}

// TestTwoFlights flies a board twice, with a reboot in between and without.
// TestReleaseStaysTold: after the landing the state does not take back a release
// that was told in the descent, whether the board tells of it or not, and
// although its servo closes again. On the pad afterwards it is closed.
func TestReleaseStaysTold(t *testing.T) {
	for _, tells := range []bool{true, false} {
		f := draw(t, ensemble.Nominal50(), 1)
		tr := track.New(track.Config{Session: "test", Rocket: f.Rocket, Site: f.Site})
		told, landed := false, false
		for i := range f.Samples {
			s := &f.Samples[i]
			for k, name := range s.Values.Names {
				down := tr.State().Phase == flight.Landed
				switch {
				case name == decode.ReleaseOn && (!tells || down), name == decode.ReleaseUs && !tells:
					s.Values.Values[k] = math.NaN()
				case name == decode.ReleaseUs && down:
					s.Values.Values[k] = f.Samples[0].Values.Values[k]
				}
			}
			tr.Sample(s)
			st := tr.State()
			told = told || st.Phase == flight.Descent && st.Released
			if st.Phase == flight.Landed {
				landed = true
				if st.Released != told {
					t.Fatalf("board tells %v: in the descent released %v, after the landing %v", tells, told, st.Released)
				}
			}
		}
		if !told || !landed {
			t.Errorf("board tells %v: release told in the descent %v, landed %v", tells, told, landed)
		}
	}
}

func TestTwoFlights(t *testing.T) {
	for _, reboot := range []bool{true, false} {
		f, g := draw(t, ensemble.Nominal50(), 1), draw(t, ensemble.Nominal50(), 1)
		later := 10 * time.Minute
		for i := range g.Samples {
			s := &g.Samples[i]
			s.At, s.Heard, s.Passed = s.At.Add(later), s.Heard.Add(later), s.Passed+int64(later)
			if reboot {
				s.Boot = 2
			}
		}
		f.Samples = append(f.Samples, g.Samples...)
		count := map[flight.Kind]int{}
		ids := map[string]bool{}
		for _, e := range run(&f) {
			count[e.Kind]++
			if ids[e.ID] {
				t.Errorf("two events %s", e.ID)
			}
			ids[e.ID] = true
		}
		want := map[flight.Kind]int{flight.Liftoff: 2, flight.Burnout: 2, flight.Apogee: 2, flight.Release: 2, flight.Touchdown: 2}
		if reboot {
			want[flight.Reboot] = 1
		}
		if d := cmp.Diff(want, count); d != "" {
			t.Errorf("reboot %v: events (-want +got):\n%s", reboot, d)
		}
	}
}

// TestRebootInFlight: the flight goes on.
func TestRebootInFlight(t *testing.T) {
	f := draw(t, ensemble.Nominal50(), 2)
	for i := range f.Samples {
		if f.S(f.Samples[i].At) > f.Truth.ApogeeS-1 {
			f.Samples[i].Boot++
		}
	}
	events := run(&f)
	if e := only(t, events, flight.Reboot); e == nil || e.Flight != 1 {
		t.Errorf("reboot: %+v", e)
	}
	if e := only(t, events, flight.Apogee); e == nil || math.Abs(f.S(e.At)-f.Truth.ApogeeS) > 0.1 {
		t.Errorf("apogee: %+v", e)
	}
}

// TestSilence: nothing is heard from one second before the apogee on. Ticks
// alone find the apogee, not early, and at last a landing.
func TestSilence(t *testing.T) {
	f := draw(t, ensemble.Nominal50(), 2)
	tr := track.New(track.Config{Session: "test", Rocket: f.Rocket, Site: f.Site})
	for i := range f.Samples {
		if f.S(f.Samples[i].At) < f.Truth.ApogeeS-1 {
			tr.Sample(&f.Samples[i])
		}
	}
	var events []flight.Event
	for s := f.Truth.ApogeeS - 0.8; s < f.Truth.ApogeeS+400; s += 0.2 {
		events = append(events, tr.Tick(f.At(s))...)
	}
	e := only(t, events, flight.Apogee)
	if e == nil {
		t.Fatal("no apogee")
	}
	if d := f.S(e.CalledAt) - f.Truth.ApogeeS; d < -0.1 || d > 1.5 {
		t.Errorf("called %.2f s late", d)
	}
	if e.Note == "" {
		t.Error("an apogee that nobody heard must say so")
	}
	if e := only(t, events, flight.Touchdown); e == nil || e.Note == "" {
		t.Errorf("touchdown: %+v", e)
	}
}

// TestHeardInTheAir: the first sample comes half way down a parachute descent.
func TestHeardInTheAir(t *testing.T) {
	f := draw(t, ensemble.Nominal50(), 2)
	from := f.Truth.OpenS + 3
	kept := f.Samples[:0]
	for _, s := range f.Samples {
		if f.S(s.At) > from {
			kept = append(kept, s)
		}
	}
	f.Samples = kept
	events := run(&f)
	if e := only(t, events, flight.Touchdown); e == nil || math.Abs(f.S(e.At)-f.Truth.TouchdownS) > 1.5 {
		t.Errorf("touchdown: %+v", e)
	}
	for _, e := range events {
		if e.Kind == flight.Liftoff && f.S(e.CalledAt) > f.Truth.TouchdownS {
			t.Errorf("liftoff after the landing: %+v", e)
		}
	}
}

// TestAnySamples: whatever a board sends, no call panics, events are in order
// and no two have the same ID.
func TestAnySamples(t *testing.T) {
	names := []string{decode.PressurePa, decode.AccelMps2, decode.ReleaseOn}
	rapid.Check(t, func(t *rapid.T) {
		tr := track.New(track.Config{Session: "test"})
		at := time.Date(2026, 5, 2, 9, 0, 0, 0, time.UTC)
		pressure := 100000.0
		ids := map[string]bool{}
		for i := range rapid.IntRange(1, 300).Draw(t, "samples") {
			at = at.Add(time.Duration(rapid.SampledFrom([]int{0, 10, 20, 100, 900, -50}).Draw(t, "ms")) * time.Millisecond)
			pressure += rapid.SampledFrom([]float64{0, 1, -5, -60, 300, -4000, math.NaN(), math.Inf(1)}).Draw(t, "step")
			s := decode.Sample{At: at, Heard: at, Rocket: "Rust", Seq: int64(i), Values: decode.Channels{Names: names,
				Values: []float64{pressure, rapid.SampledFrom([]float64{9.8, 0, 80, math.NaN()}).Draw(t, "force"), 0}}}
			events := tr.Sample(&s)
			if i%7 == 0 {
				events = append([]flight.Event(nil), events...)
				events = append(events, tr.Tick(at.Add(time.Duration(rapid.IntRange(0, 90).Draw(t, "quiet"))*time.Second))...)
			}
			for _, e := range events {
				if ids[e.ID] {
					t.Fatalf("two events %s", e.ID)
				}
				ids[e.ID] = true
				if e.At.After(e.CalledAt) {
					t.Fatalf("%s happened at %s but was called at %s", e.ID, e.At, e.CalledAt)
				}
			}
			if math.IsNaN(pressure) || math.IsInf(pressure, 0) || pressure < 0 {
				pressure = 100000
			}
			if st := tr.State(); st.AltitudeM != nil && math.IsNaN(*st.AltitudeM) {
				t.Fatal("the altitude is not a number")
			}
		}
	})
}
