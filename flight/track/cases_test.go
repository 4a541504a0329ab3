package track_test

import (
	"math"
	"testing"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/ensemble"
	"padlark/flight/track"
)

// run hands all samples to a new tracker and returns the events.
func run(f *ensemble.Flight) []flight.Event {
	t := track.New(track.Config{Session: "test", Rocket: f.Rocket, Site: f.Site})
	var all []flight.Event
	for i := range f.Samples {
		all = append(all, t.Sample(&f.Samples[i])...)
	}
	return all
}

// only finds the one event of a kind; it fails the test if there are several.
func only(t *testing.T, events []flight.Event, k flight.Kind) *flight.Event {
	t.Helper()
	var found *flight.Event
	for i := range events {
		if events[i].Kind != k {
			continue
		}
		if found != nil {
			t.Errorf("two events %s: %s and %s", k, found.At, events[i].At)
		}
		found = &events[i]
	}
	return found
}

// TestCases flies what recorded flights of real boards contain. The truth is
// the ensemble's. Limits: the apogee within 0.15 s and 3 % of the truth unless
// the case says otherwise, never called more than 0.1 s early.
func TestCases(t *testing.T) {
	// withinS, late: for cases that hide the top or the climb.
	limits := map[string]struct{ withinS, lateS, withinM float64 }{
		"speed-dip":      {0.5, 1.5, 60}, // the vent's error is in the height as well
		"ends-ballistic": {0.2, 0.6, 6},
		"launch-dip":     {0.3, 1.0, 5},
		"no-pad":         {0.2, 0.6, 8},
	}
	for _, c := range ensemble.Cases() {
		t.Run(c.Name, func(t *testing.T) {
			for seed := range uint64(3) {
				f, err := c.Draw(seed + 1)
				if err != nil {
					t.Fatal(err)
				}
				l, ok := limits[c.Name]
				if !ok {
					l.withinS, l.lateS, l.withinM = 0.15, 0.6, 0.5+0.03*f.Truth.ApogeeM
				}
				checkCase(t, &f, l.withinS, l.lateS, l.withinM)
			}
		})
	}
}

func checkCase(t *testing.T, f *ensemble.Flight, withinS, lateS, withinM float64) {
	t.Helper()
	events := run(f)
	if e := only(t, events, flight.Liftoff); e == nil {
		t.Error("no liftoff")
	} else if d := f.S(e.At) - f.Truth.LiftoffS; math.Abs(d) > 1.2 {
		t.Errorf("liftoff is off by %.2f s", d)
	}
	e := only(t, events, flight.Apogee)
	if e == nil {
		t.Fatal("no apogee")
	}
	if d := f.S(e.At) - f.Truth.ApogeeS; math.Abs(d) > withinS {
		t.Errorf("apogee is off by %.3f s, at most %.3f wanted", d, withinS)
	}
	if d := f.S(e.CalledAt) - f.Truth.ApogeeS; d < -0.1 || d > lateS {
		t.Errorf("apogee called %.3f s late, at most %.3f wanted", d, lateS)
	}
	if d := *e.AltitudeM - f.Truth.ApogeeM; math.Abs(d) > withinM {
		t.Errorf("apogee is off by %.1f m, at most %.1f wanted", d, withinM)
	}
	ends := f.S(f.Samples[len(f.Samples)-1].At)
	down := only(t, events, flight.Touchdown)
	switch {
	case ends > f.Truth.TouchdownS+4 && down == nil:
		t.Error("no touchdown")
	case ends < f.Truth.TouchdownS && down != nil:
		t.Errorf("touchdown at %.2f s in the air", f.S(down.At))
	case down != nil && math.Abs(f.S(down.At)-f.Truth.TouchdownS) > 1.5:
		t.Errorf("touchdown is off by %.2f s", f.S(down.At)-f.Truth.TouchdownS)
	}
}

// TestWaiting leaves boards on the pad for hours, with noise, gusts, drift and
// lost frames: nothing may lift off.
func TestWaiting(t *testing.T) {
	hours := 3
	if testing.Short() {
		hours = 1
	}
	for i := range hours {
		pad := ensemble.WaitingPad(ensemble.OnPad(), 99, uint64(i), 1)
		tr := track.New(track.Config{Session: "test", Rocket: pad.Rocket, Site: pad.Site})
		for s := range pad.Samples() {
			if e := tr.Sample(s); len(e) > 0 {
				t.Fatalf("board %d: %s at %s %+v", i, e[0].Kind, e[0].At, pad.Setup)
			}
		}
	}
}

// bench is a board whose height is a function of time, for motions that are
// no flights.
type bench struct {
	names []string
	t0    time.Time
	n     uint64
}

func newBench() *bench {
	return &bench{names: []string{decode.PressurePa}, t0: time.Date(2026, 5, 2, 9, 0, 0, 0, time.UTC)}
}

// at is a sample that reads h m above the pad at s seconds, by the standard
// atmosphere's 12.013 Pa/m at sea level (computed from the published
// equations).
func (b *bench) at(s, h float64) *decode.Sample {
	b.n++
	at := b.t0.Add(time.Duration(s * 1e9))
	return &decode.Sample{
		Session: "test", Link: "pad", N: b.n, Rocket: "Plum", Boot: 1, Seq: int64(b.n), Clock: int64(s * 1e6),
		Heard: at, At: at, Passed: int64(s * 1e9),
		Values: decode.Channels{Names: b.names, Values: []float64{101325 - 12.013*h}},
	}
}

// TestNotAFlight moves the board as people do before a launch.
func TestNotAFlight(t *testing.T) {
	for _, c := range []struct {
		name   string
		height func(s float64) float64
	}{
		{"carried up a bank", func(s float64) float64 { return 6 * clamp((s-20)/8) }},
		{"lifted onto the pad", func(s float64) float64 { return 1.5 * clamp((s-20)/0.8) }},
		{"car door slams", func(s float64) float64 { return -15*pulse(s, 20, 0.15) + 5*pulse(s, 20.15, 0.2) }},
		{"door opens", func(s float64) float64 { return 5 * pulse(s, 20, 0.25) }},
		{"driven up a hill", func(s float64) float64 { return 2.5 * (math.Max(s-20, 0)) }},
		{"one wild reading", func(s float64) float64 { return 344 * pulse(s, 20, 0.02) }},
		{"two wild readings", func(s float64) float64 { return 80 * pulse(s, 20, 0.04) }},
	} {
		t.Run(c.name, func(t *testing.T) {
			b, tr := newBench(), track.New(track.Config{Session: "test"})
			for i := range 3000 {
				s := float64(i) / 50
				wobble := 0.2 * math.Sin(float64(i)*2.39996) // not random, but as wild
				if e := tr.Sample(b.at(s, c.height(s)+wobble)); len(e) > 0 {
					t.Fatalf("%s at %s, called %.2f s", e[0].Kind, e[0].At, float64(i)/50)
				}
			}
		})
	}
}

// TestSettles: the first readings after switching on are off and settle within
// some tenths of a second. That is no liftoff.
func TestSettles(t *testing.T) {
	for _, hz := range []float64{10, 20, 50, 100} {
		for _, off := range []float64{-30, -10, 10, 30} {
			for _, tau := range []float64{0.02, 0.05, 0.1} {
				b, tr := newBench(), track.New(track.Config{Session: "test"})
				for i := range int(20 * hz) {
					s := float64(i) / hz
					wobble := 0.2 * math.Sin(float64(i)*2.39996)
					if e := tr.Sample(b.at(s, off*math.Exp(-s/tau)+wobble)); len(e) > 0 {
						t.Fatalf("%g Hz, %g m off, settling in %g s: %s called at %.2f s", hz, off, tau, e[0].Kind, s)
					}
				}
			}
		}
	}
}

func clamp(x float64) float64 { return math.Max(0, math.Min(1, x)) }

// pulse is 1 from `from` on for the given length.
func pulse(s, from, length float64) float64 {
	if s >= from && s < from+length {
		return 1
	}
	return 0
}
