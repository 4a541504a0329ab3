package track_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"pgregory.net/rapid"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/track"
)

// ground is a board that stands on the ground, as its tracker hears it.
type ground struct {
	tracker *track.Tracker
	r       *rand.Rand
	t, hz   float64 // s; frames a second
	sd      float64 // of one reading, m
	level   float64 // of the air where it stands, m
	boot    uint32
	ticked  float64
	events  []flight.Event
	plain   bool // the board sends an altitude, not a pressure
}

func newGround(hz, sd float64, seed uint64) *ground {
	return &ground{tracker: track.New(track.Config{Session: "ground"}), r: rand.New(rand.NewPCG(seed, 1)), hz: hz, sd: sd, boot: 1}
}

func (g *ground) at(s float64) time.Time {
	return time.Date(2026, 6, 13, 9, 0, 0, 0, time.UTC).Add(time.Duration(s * 1e9))
}

// silent passes time with the ticks that a station has.
func (g *ground) silent(s float64) {
	g.t += s
	if s > 3600 { // as watch.Engine passes over them
		g.ticked = g.t - 1
	}
	for ; g.ticked < g.t; g.ticked += 0.2 {
		g.note(g.tracker.Tick(g.at(g.ticked)))
	}
}

func (g *ground) note(ev []flight.Event) { g.events = append(g.events, ev...) }

// stand sends for so many seconds; height is added to the level, by the time
// since it began.
func (g *ground) stand(s float64, height func(t float64) float64) {
	for from := g.t; g.t < from+s; {
		g.silent(1 / g.hz)
		h := g.level + g.sd*g.r.NormFloat64()
		if height != nil {
			h += height(g.t - from)
		}
		values := decode.Channels{Names: []string{decode.AltitudeM}, Values: []float64{h}}
		if !g.plain {
			// ISO 2533:1975, troposphere.
			values = decode.Channels{Names: []string{decode.PressurePa}, Values: []float64{101325 * math.Pow(1-0.0065*h/288.15, 5.25588)}}
		}
		at := g.at(g.t)
		g.note(g.tracker.Sample(&decode.Sample{Rocket: "Teal", Boot: g.boot, Seq: -1, Clock: -1, At: at, Heard: at, Values: values}))
	}
}

func (g *ground) liftoffs() (n int) {
	for _, e := range g.events {
		if e.Kind == flight.Liftoff || e.Kind == flight.Apogee {
			n++
		}
	}
	return n
}

// hop is a small flight: to 30 m, and down at 4 m/s.
func hop(t float64) float64 {
	const g, v, sink = 9.80665, 25.0, 4.0
	up := v / g
	if t < up {
		return v*t - g*t*t/2
	}
	return max(0, v*v/2/g-sink*(t-up))
}

// TestNoLiftoffOutOfAGap: a board that starts again, or is not heard for a
// while, finds another pressure when it is heard again: it was carried, cooled,
// or the weather has changed. That is no flight, and the pad is learnt anew.
func TestNoLiftoffOutOfAGap(t *testing.T) {
	for _, c := range []struct {
		name   string
		quiet  float64 // s, at the most
		step   float64 // m, at the most, either way
		reboot bool
	}{
		{"started again", 40, 30, true},
		{"started again, unsaid", 40, 30, false},
		{"an hour", 3600, 60, false},
		{"a day", 86400, 300, false},
		{"a year", 3.2e7, 400, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				hz := rapid.Float64Range(2, 100).Draw(t, "hz")
				g := newGround(hz, rapid.Float64Range(0.05, 0.8).Draw(t, "sd"), rapid.Uint64().Draw(t, "seed"))
				g.plain = rapid.Bool().Draw(t, "plain")
				g.stand(rapid.Float64Range(3, 20).Draw(t, "before"), nil)
				for range rapid.IntRange(1, 3).Draw(t, "times") {
					g.silent(rapid.Float64Range(2.1, c.quiet).Draw(t, "quiet"))
					g.level += rapid.Float64Range(-c.step, c.step).Draw(t, "step")
					if c.reboot {
						g.boot++
					}
					g.stand(rapid.Float64Range(3, 12).Draw(t, "after"), nil)
				}
				if n := g.liftoffs(); n != 0 {
					t.Fatalf("%d events of flights on the ground: %+v", n, g.events)
				}
				// A height that is not known yet, because the step could be a fall
				// that it was heard in the midst of, says nothing wrong.
				if a := g.tracker.State().AltitudeM; a != nil && math.Abs(*a) > 1+6*g.sd && g.stood() {
					t.Fatalf("it stands at %.1f m", *a)
				}
				// A flight from there is one.
				g.stand(8, nil)
				g.stand(15, hop)
				lifts := 0
				for _, e := range g.events {
					if e.Kind == flight.Liftoff {
						lifts++
					}
				}
				if lifts != 1 && hz >= 10 && g.sd <= 0.5 {
					t.Fatalf("%d liftoffs of the hop", lifts)
				}
			})
		})
	}
}

// stood is whether a board has been heard for long enough that its level is known
// even if it does not say that it started again.
func (g *ground) stood() bool { return g.boot > 1 }

// TestBumpIsNoFlight: a door, a hand, a gust on the vents: what lifts the readings
// for a moment and lets them fall back is no flight, on the pad and after a
// landing.
func TestBumpIsNoFlight(t *testing.T) {
	for _, after := range []string{"pad", "landing"} {
		t.Run(after, func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				hz := rapid.Float64Range(5, 100).Draw(t, "hz")
				g := newGround(hz, rapid.Float64Range(0.05, 0.6).Draw(t, "sd"), rapid.Uint64().Draw(t, "seed"))
				g.stand(12, nil)
				want := 0
				if after == "landing" {
					g.stand(20, hop)
					want = g.liftoffs()
					if g.tracker.State().Phase != flight.Landed {
						t.Skip("the hop did not end")
					}
					g.stand(rapid.Float64Range(0.2, 20).Draw(t, "lain"), nil)
				}
				height := rapid.Float64Range(-60, 60).Draw(t, "height")
				long := rapid.Float64Range(0.02, 0.18).Draw(t, "long")
				round := rapid.Bool().Draw(t, "round")
				from := rapid.Float64Range(0, 1).Draw(t, "from")
				g.stand(8, func(s float64) float64 {
					switch x := (s - from) / long; {
					case x < 0 || x > 1:
						return 0
					case round:
						return height * math.Sin(math.Pi*x)
					}
					return height
				})
				if n := g.liftoffs(); n != want {
					t.Fatalf("%d events of flights, want %d: %+v", n, want, g.events)
				}
			})
		})
	}
}

// TestClimbsAtAnyRate: a link that is lost after 0.6 s of climb, or after three
// frames of a slow board, has told of a liftoff all the same, under thrust too.
func TestClimbsAtAnyRate(t *testing.T) {
	for _, hz := range []float64{1.5, 2, 2.3, 3, 5, 10, 20, 50} {
		for _, c := range []struct{ speed, boost float64 }{{20, 0.3}, {40, 0.3}, {100, 0.3}, {200, 0.3}, {100, 2}, {200, 3}, {300, 4}} {
			heard := max(c.boost, 3.1/hz) + 0.6
			if c.speed*(heard-c.boost/2)-4.9*(heard-c.boost)*(heard-c.boost) < 12 || heard-c.boost > c.speed/9.8 {
				continue // it is on its way down again
			}
			t.Run(fmt.Sprintf("%g Hz, %g m/s in %g s", hz, c.speed, c.boost), func(t *testing.T) {
				for seed := range uint64(20) {
					g := newGround(hz, 0.3, seed)
					g.stand(20+float64(seed)*0.17, nil)
					g.stand(heard, func(s float64) float64 {
						if s < c.boost {
							return c.speed / c.boost * s * s / 2
						}
						s -= c.boost
						return c.speed*c.boost/2 + c.speed*s - 9.80665*s*s/2
					})
					g.silent(300)
					lifts := 0
					for _, e := range g.events {
						if e.Kind == flight.Liftoff {
							lifts++
						}
					}
					if lifts != 1 {
						t.Errorf("seed %d, after %.1f s of climb: events %+v", seed, heard, g.events)
					}
				}
			})
		}
	}
}
