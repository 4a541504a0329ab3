package watch

import (
	"fmt"
	"math/rand/v2"
	"sort"
	"strings"
	"testing"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/ensemble"
)

// falling is a flight that comes down without its parachute.
func falling(t *testing.T) ensemble.Flight {
	t.Helper()
	c, err := ensemble.CaseNamed("ends-ballistic")
	if err != nil {
		t.Fatal(err)
	}
	f, err := c.Draw(3)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// warned runs samples through an engine and gives, for each sender, when its
// ballistic alarm was raised first, and all that was raised.
func warned(t *testing.T, f *ensemble.Flight, samples []decode.Sample) (ballistic map[string]time.Time, raised map[string]int, events int) {
	t.Helper()
	e, err := NewEngine(Config{Session: "one", Epoch: f.Epoch, Rockets: []flight.Rocket{f.Rocket}, Site: f.Site})
	if err != nil {
		t.Fatal(err)
	}
	ballistic, raised = map[string]time.Time{}, map[string]int{}
	look := func(out Output) {
		events += len(out.Events)
		for _, a := range out.Alarms {
			if !a.Active {
				continue
			}
			raised[a.Rocket+" "+a.Kind]++
			if _, had := ballistic[a.Rocket]; a.Kind == "ballistic" && !had {
				ballistic[a.Rocket] = a.ChangedAt
			}
		}
	}
	for i := range samples {
		look(e.Sample(&samples[i]))
	}
	look(e.Advance(int64(f.EndS * 1e9)))
	return ballistic, raised, events
}

// ordered puts samples into the order in which they are heard.
func inOrder(all []decode.Sample) []decode.Sample {
	sort.SliceStable(all, func(i, k int) bool { return all[i].Passed < all[k].Passed })
	return all
}

// forged is a sample under the same numbers with another pressure.
func forged(s decode.Sample, link string, earlier time.Duration, pa float64) decode.Sample {
	s.Link = link
	s.Heard, s.At, s.Passed = s.Heard.Add(-earlier), s.At.Add(-earlier), s.Passed-int64(earlier)
	v := append([]float64(nil), s.Values.Values...)
	for i, n := range s.Values.Names {
		if n == decode.PressurePa {
			v[i] = pa
		}
	}
	s.Values = decode.Channels{Names: s.Values.Names, Values: v}
	return s
}

// Whoever else sends the same numbers, and from when on, the flight that is seen
// on a steady stream raises its alarm, at most a second later than in silence,
// and people are told of the conflict.
func TestForgedCopies(t *testing.T) {
	f := falling(t)
	silence, _, _ := warned(t, &f, f.Samples)
	want, ok := silence[f.Rocket.Name]
	if !ok {
		t.Fatal("in silence nobody is warned")
	}
	home := f.Samples[0].Link
	pad, _ := f.Samples[0].Values.Get(decode.PressurePa)
	liftoff := time.Duration(f.Truth.LiftoffS * float64(time.Second))
	rng := rand.New(rand.NewPCG(1, 2))
	for _, c := range []struct {
		name    string
		link    string
		earlier time.Duration
		from    time.Duration
		pa      func() float64
	}{
		{"the pad's pressure, on another link", "evil", 2 * time.Millisecond, 0, func() float64 { return pad }},
		{"the same from the liftoff on", "evil", 2 * time.Millisecond, liftoff, func() float64 { return pad }},
		{"in the middle of the flight", "evil", 2 * time.Millisecond, liftoff + 2*time.Second, func() float64 { return pad }},
		{"later than ours", "evil", -2 * time.Millisecond, liftoff, func() float64 { return pad }},
		{"on the same link", home, 2 * time.Millisecond, 0, func() float64 { return pad }},
		{"on the same link, from the liftoff on", home, 2 * time.Millisecond, liftoff, func() float64 { return pad }},
		{"half the pressure", "evil", 2 * time.Millisecond, liftoff, func() float64 { return pad / 2 }},
		{"any pressure", "evil", 2 * time.Millisecond, 0, func() float64 { return pad * rng.Float64() }},
		{"any pressure, on the same link", home, -2 * time.Millisecond, 0, func() float64 { return pad * rng.Float64() }},
	} {
		t.Run(c.name, func(t *testing.T) {
			all := append([]decode.Sample(nil), f.Samples...)
			for _, s := range f.Samples {
				if time.Duration(s.Passed) >= c.from {
					all = append(all, forged(s, c.link, c.earlier, c.pa()))
				}
			}
			for i := range all {
				all[i].Passed = max(0, all[i].Passed)
			}
			got, raised, _ := warned(t, &f, inOrder(all))
			var first time.Time
			for name, at := range got {
				if r, known := flight.RocketNamed([]flight.Rocket{f.Rocket}, name); !known || !strings.HasPrefix(r.Name, f.Rocket.Name) {
					t.Errorf("warned of %q", name)
				}
				if first.IsZero() || at.Before(first) {
					first = at
				}
			}
			if first.IsZero() || first.Sub(want) > time.Second {
				t.Errorf("warned at %v, in silence at %v; raised %v", first, want, raised)
			}
			if raised[f.Rocket.Name+" duplicate-id"] == 0 {
				t.Errorf("nobody is told of the conflict: %v", raised)
			}
		})
	}
}

// A second receiver of the same board is no other sender, whatever it loses.
func TestHonestCopies(t *testing.T) {
	f := falling(t)
	_, want, wantEvents := warned(t, &f, f.Samples)
	rng := rand.New(rand.NewPCG(3, 4))
	all := append([]decode.Sample(nil), f.Samples...)
	for _, s := range f.Samples {
		pa, _ := s.Values.Get(decode.PressurePa)
		if rng.Float64() > 0.3 {
			all = append(all, forged(s, "north", -time.Duration(rng.IntN(20))*time.Millisecond, pa+10*rng.Float64())) // another layout rounds
		}
	}
	// A third link whose layout has the height as the board computes it.
	for _, s := range f.Samples {
		c := forged(s, "board", -3*time.Millisecond, 0)
		c.Values = decode.Channels{Names: []string{decode.AltitudeM}, Values: []float64{12}}
		all = append(all, c)
	}
	_, got, events := warned(t, &f, inOrder(all))
	if fmt.Sprint(got) != fmt.Sprint(want) || events != wantEvents {
		t.Errorf("raised %v and %d events, by one receiver %v and %d", got, events, want, wantEvents)
	}
}

// Guests have a bounded place, and a configured rocket heard after a flood of
// them is watched.
func TestGuestsAreForgotten(t *testing.T) {
	f := falling(t)
	var all []decode.Sample
	for i, s := range f.Samples {
		for k := range 3 {
			g := forged(s, "evil", time.Millisecond, 90000)
			g.Rocket, g.Seq = fmt.Sprintf("id-%d", 1000+3*i+k), 0
			all = append(all, g)
		}
	}
	all = append(all, f.Samples...)
	for i := range all {
		all[i].Passed = max(0, all[i].Passed)
	}
	e, err := NewEngine(Config{Session: "one", Epoch: f.Epoch, Rockets: []flight.Rocket{f.Rocket}, Site: f.Site})
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range inOrder(all) {
		e.Sample(&s)
		if n := len(e.Rockets()); n > decode.MaxGuests+1 {
			t.Fatalf("%d rockets are followed", n)
		}
	}
	got, _, _ := warned(t, &f, all)
	if got[f.Rocket.Name].IsZero() {
		t.Error("nobody was warned")
	}
}

// A second sender that the decoder has told apart flies by itself, and the
// rocket whose id it uses says so.
func TestSecondSenderIsWatched(t *testing.T) {
	f := falling(t)
	var all []decode.Sample
	for _, s := range f.Samples {
		all = append(all, s)
		other := forged(s, "evil", -7*time.Millisecond, 0)
		other.Values = s.Values
		other.Rocket = decode.OtherSender(f.Rocket.Name, 2)
		all = append(all, other)
	}
	got, raised, _ := warned(t, &f, inOrder(all))
	name := f.Rocket.Name
	if got[name].IsZero() || got[name+" (2)"].IsZero() || raised[name+" duplicate-id"] == 0 {
		t.Errorf("warned %v, raised %v", got, raised)
	}
}
