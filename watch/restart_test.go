package watch

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"padlark/decode"
	"padlark/flight"
)

// standing is a board whose samples an engine hears.
type standing struct {
	engine *Engine
	epoch  time.Time
	r      *rand.Rand
	mono   int64 // ns
	boot   uint32
	level  float64 // m, of the air where it stands
	hz     float64 // frames a second
	out    Output
}

// send sends for so many seconds, at heights above the level; each, if set, is
// called after each sample.
func (s *standing) send(seconds float64, height func(t float64) float64, each func(st flight.State)) {
	for i := range int(seconds * s.hz) {
		s.mono += int64(1e9 / s.hz)
		h := s.level + 0.3*s.r.NormFloat64()
		if height != nil {
			h += height(float64(i) / s.hz)
		}
		at := s.epoch.Add(time.Duration(s.mono))
		// ISO 2533:1975, troposphere.
		p := 101325 * math.Pow(1-0.0065*h/288.15, 5.25588)
		s.out.add(s.engine.Sample(&decode.Sample{
			Session: session, Rocket: "Teal", Link: "pad", N: uint64(s.mono), Boot: s.boot, Seq: -1, Clock: -1,
			At: at, Heard: at, Passed: s.mono,
			Values: decode.Channels{Names: []string{decode.PressurePa}, Values: []float64{p}},
		}))
		if each != nil {
			st, _ := s.engine.State("Teal")
			each(st)
		}
	}
}

// TestRestartsOnTheGround: a board that is switched off and on again, before a
// flight and after one, and finds another pressure each time, makes no flight
// and no alarm of a flight, does not seem dragged about, and is not said to be
// ready before its pad is known.
func TestRestartsOnTheGround(t *testing.T) {
	for _, flies := range []bool{false, true} {
		epoch := time.Date(2026, 6, 13, 9, 0, 0, 0, time.UTC)
		e, err := NewEngine(Config{Session: session, Epoch: epoch, Rockets: []flight.Rocket{{Name: "Teal"}}})
		if err != nil {
			t.Fatal(err)
		}
		s := &standing{engine: e, epoch: epoch, r: rand.New(rand.NewPCG(8, 15)), boot: 1, hz: 20}
		s.send(15, nil, nil)
		flights := 0
		if flies {
			// To 32 m, and down at 4 m/s.
			s.send(25, func(t float64) float64 {
				const v, g, sink = 25.0, 9.80665, 4.0
				if t < v/g {
					return v*t - g*t*t/2
				}
				return max(0, v*v/2/g-sink*(t-v/g))
			}, nil)
			flights = 1
		}
		quiet := s.out
		s.out = Output{}
		for range 15 {
			s.mono += int64(5 * time.Second)
			s.boot++
			s.level += 16*s.r.Float64() - 8
			begun := s.mono
			s.send(20, nil, func(st flight.State) {
				if st.Go && (s.mono-begun < int64(4*time.Second) || math.Abs(*st.AltitudeM) > 2) {
					t.Errorf("start %d: go after %.1f s, at %.1f m", s.boot, float64(s.mono-begun)/1e9, *st.AltitudeM)
				}
			})
		}
		for _, ev := range s.out.Events {
			if ev.Kind != flight.Reboot {
				t.Errorf("flies %v: %s on the ground, at %v", flies, ev.Kind, ev.At)
			}
		}
		for _, a := range s.out.Alarms {
			if a.Active && a.Kind != "reboot" && a.Kind != "silent" {
				t.Errorf("flies %v: alarm %s: %s", flies, a.Kind, a.Reason)
			}
		}
		if st, _ := e.State("Teal"); st.Flight != flights || !strings.Contains(string(st.Phase), "waiting") {
			t.Errorf("flies %v: it ends in flight %d, %s; before: %d events", flies, st.Flight, st.Phase, len(quiet.Events))
		}
	}
}

// TestLostInTheClimb: a board that is heard no more after a part of its climb is
// silent in flight, at any rate of frames, and not one that did not lift off.
func TestLostInTheClimb(t *testing.T) {
	for _, hz := range []float64{2, 2.3, 3, 5, 10, 25, 50} {
		for _, c := range []struct{ speed, boost float64 }{{40, 0.3}, {100, 0.5}, {200, 2}, {250, 3.5}} {
			epoch := time.Date(2026, 6, 13, 9, 0, 0, 0, time.UTC)
			e, err := NewEngine(Config{Session: session, Epoch: epoch, Rockets: []flight.Rocket{{Name: "Teal"}}})
			if err != nil {
				t.Fatal(err)
			}
			s := &standing{engine: e, epoch: epoch, r: rand.New(rand.NewPCG(23, 587)), boot: 1, hz: hz}
			s.send(20, nil, nil)
			s.send(max(c.boost+0.6, 4.5/hz), func(t float64) float64 {
				if t < c.boost {
					return c.speed / c.boost * t * t / 2
				}
				t -= c.boost
				return c.speed*c.boost/2 + c.speed*t - 9.80665*t*t/2
			}, nil)
			s.out.add(e.Advance(s.mono + int64(10*time.Second)))
			kinds := map[string]bool{}
			for _, a := range s.out.Alarms {
				kinds[a.Kind] = true
			}
			lifted := false
			for _, ev := range s.out.Events {
				lifted = lifted || ev.Kind == flight.Liftoff
			}
			if !lifted || !kinds["silent"] || kinds["no-liftoff"] {
				t.Errorf("%g Hz, %g m/s in %g s: lifted off %v, alarms %v", hz, c.speed, c.boost, lifted, kinds)
			}
		}
	}
}
