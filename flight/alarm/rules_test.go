package alarm

import (
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"padlark/decode"
	"padlark/flight"
)

// ruleCase shows one rule its condition, or the nearest thing that must leave
// all rules silent.
type ruleCase struct {
	name string
	cfg  Config
	do   func(s *scene)
	want []string // kinds, in any order
	says string   // part of the reason of the first alarm
}

func check(t *testing.T, cases ...[]ruleCase) {
	t.Helper()
	for _, c := range slices.Concat(cases...) {
		t.Run(c.name, func(t *testing.T) {
			s := newScene(t, c.cfg)
			c.do(s)
			if d := cmp.Diff(sorted(c.want), sorted(s.kinds())); d != "" {
				t.Errorf("raised (-want +got):\n%s", d)
				for _, a := range s.raised {
					t.Log(a.RaisedAt.Sub(start), a.Reason)
				}
			}
			if len(s.raised) > 0 && !strings.Contains(s.raised[0].Reason, c.says) {
				t.Errorf("reason %q, want %q in it", s.raised[0].Reason, c.says)
			}
		})
	}
}

func TestRulesInFlight(t *testing.T) { check(t, releaseCases(), flightCases()) }
func TestRulesOnTheGround(t *testing.T) {
	check(t, sensorCases(), supplyCases(), boardCases(), linkCases())
}
func TestRulesAfterLanding(t *testing.T) { check(t, landedCases()) }

// releaseCases are good and bad releases.
func releaseCases() []ruleCase {
	return []ruleCase{
		{"a good flight", Config{}, func(s *scene) {
			s.run(10, nil).climb().apogee().fall(0.3)
			s.release()
			s.fall(0.3).sink(3.9, 12).land(0).run(30, nil)
		}, nil, ""},
		{"no release", Config{}, func(s *scene) { s.run(10, nil).climb().apogee().fall(2.5) },
			[]string{"ballistic", "no-release"}, "has not released its parachute"},
		{"released, but nothing opens", Config{}, func(s *scene) {
			s.run(10, nil).climb().apogee().fall(0.2)
			s.release()
			s.fall(2)
		}, []string{"ballistic"}, "the release was told"},
		{"a release at the end of the delay", Config{}, func(s *scene) {
			s.run(10, nil).climb().apogee().fall(0.9)
			s.release()
			s.fall(0.4).sink(3.9, 5)
		}, nil, ""},
		{"release in the climb", Config{}, func(s *scene) {
			s.run(10, nil)
			s.event(flight.Liftoff, 0)
			s.run(1, func(t float64) {
				s.motion(flight.Coast, 30*t, 25)
				s.st.ToApogeeS, s.st.ToApogeeSD = num(2.5-t), num(0.1)
				if t > 0.5 {
					s.ch[decode.ReleaseOn] = 1
				}
			})
		}, []string{"early-release"}, "before the apogee"},
		{"release in the boost", Config{}, func(s *scene) {
			s.run(10, nil)
			s.event(flight.Liftoff, 0)
			s.run(0.3, func(t float64) {
				s.motion(flight.Boost, 50*t*t, 100*t)
				s.ch[decode.ReleaseOn] = 1
			})
		}, []string{"early-release"}, "during the boost"},
		{"release a moment before the call of the apogee", Config{}, func(s *scene) {
			s.run(10, nil).climb()
			s.release()
			s.motion(flight.Coast, 60, 0.5)
			s.run(0.1, nil).apogee().fall(0.2).sink(3.9, 5)
		}, nil, ""},
	}
}

// flightCases are the other things that happen in flight.
func flightCases() []ruleCase {
	return []ruleCase{
		{"silence in flight", Config{}, func(s *scene) {
			s.run(10, nil).climb()
			s.mute = true
			s.run(4, nil)
		}, []string{"silent"}, "Touchdown is expected"},
		{"a gap of 0.9 s", Config{}, func(s *scene) {
			s.run(10, nil).climb()
			s.mute = true
			s.run(0.9, nil)
			s.mute = false
			s.apogee().fall(0.2)
		}, nil, ""},
		{"the board starts again in flight", Config{}, func(s *scene) {
			s.run(10, nil).climb()
			s.boot, s.seq, s.clock = 2, 0, -s.now
			s.run(0.1, nil)
		}, []string{"reboot"}, "may not release"},
		{"twice as fast under the parachute", Config{}, func(s *scene) {
			s.run(10, nil).climb().apogee().fall(0.2)
			s.release()
			s.fall(0.3).sink(8, 4)
		}, []string{"fast-descent"}, "should let it sink at 4.0 m/s"},
		{"a third of the sink rate", Config{Site: flight.Site{WindMps: 3}}, func(s *scene) {
			s.run(10, nil).climb().apogee().fall(0.2)
			s.release()
			s.fall(0.2).sink(1.2, 10)
		}, []string{"slow-descent"}, "4.0 m/s was expected"},
		{"not armed after liftoff", Config{}, func(s *scene) {
			s.run(10, nil)
			s.event(flight.Liftoff, 0)
			s.run(2, func(t float64) { s.motion(flight.Coast, 30*t, 20) })
		}, []string{"not-armed"}, "apogee rule is not armed"},
		{"carried out of a small field", Config{Site: flight.Site{FieldRadiusM: 50, WindMps: 6}}, func(s *scene) {
			s.run(10, nil).climb().apogee().fall(0.2)
			s.release()
			s.fall(0.3).sink(3.9, 6)
		}, []string{"out-of-field"}, "the field ends at 50 m"},
		{"out of the field by its own position", Config{Site: flight.Site{FieldRadiusM: 60}}, func(s *scene) {
			s.ch[decode.LatitudeDeg], s.ch[decode.LongitudeDeg] = 45, 6
			s.run(10, nil).climb().apogee()
			alt := 60.0
			s.release()
			s.run(6, func(t float64) {
				s.ch[decode.LatitudeDeg] = 45 + 8*t/111131.8 // m in a degree at 45 N, WGS 84
				s.motion(flight.Descent, alt-4*t, -4)
			})
		}, []string{"out-of-field"}, "drifts at"},
	}
}

// Rules that need a second board.
func TestRulesAcrossBoards(t *testing.T) {
	rust, plum := teal(), teal()
	rust.Name, plum.Name = "Rust", "Plum"
	cfg := Config{Rockets: []flight.Rocket{teal(), rust, plum}}
	beside := func(s *scene, name string, pressure, clock float64, drop int) func(float64) {
		return func(float64) {
			if drop > 0 && int(s.seq%10) < drop {
				return
			}
			q := s.sample(name)
			q.Clock = int64((s.now + clock) * 1e6)
			q.Values.Values[slices.Index(q.Values.Names, decode.PressurePa)] += pressure - 98000
			st := s.state()
			st.Rocket = name
			s.take(s.book.Sample(q, st, nil))
		}
	}
	t.Run("odd one out of three", func(t *testing.T) {
		s := newScene(t, cfg)
		a, b := beside(s, "Rust", 98020, 9, 0), beside(s, "Plum", 97010, 20, 0)
		s.run(12, func(t float64) { a(t); b(t) })
		if d := cmp.Diff([]string{"odd-one-out"}, s.kinds()); d != "" {
			t.Errorf("(-want +got):\n%s", d)
		}
		if got := s.raised[0].Rocket; got != "Plum" {
			t.Errorf("blames %s, want Plum", got)
		}
	})
	t.Run("two agree", func(t *testing.T) {
		s := newScene(t, cfg)
		s.run(12, beside(s, "Rust", 98200, 9, 0))
		if len(s.raised) > 0 {
			t.Errorf("raised %v", s.kinds())
		}
	})
	t.Run("two boards with one id", func(t *testing.T) {
		s := newScene(t, cfg)
		s.run(4, beside(s, "Teal", 98010, 55, 0))
		a := s.find("duplicate-id")
		if !strings.Contains(a.Reason, "one id 7") || !strings.Contains(a.Reason, "52.0 s apart") {
			t.Errorf("reason %q", a.Reason)
		}
	})
	t.Run("two boards with one id, switched on together", func(t *testing.T) {
		s := newScene(t, cfg)
		s.run(4, beside(s, "Teal", 98010, s.clock-0.05, 0))
		if a := s.find("duplicate-id"); !strings.Contains(a.Reason, "numbers come twice") {
			t.Errorf("reason %q", a.Reason)
		}
	})
	t.Run("two boards send over each other", func(t *testing.T) {
		s := newScene(t, cfg)
		s.drop = 4
		s.run(15, beside(s, "Rust", 98010, 55, 4))
		a := s.find("collision")
		if !strings.Contains(a.Say, "Rust") || !strings.Contains(a.Say, "Teal") || a.Link != "pad" {
			t.Errorf("says %q on link %q", a.Say, a.Link)
		}
	})
	t.Run("one loses, the other does not", func(t *testing.T) {
		s := newScene(t, cfg)
		s.drop = 4
		s.run(15, beside(s, "Rust", 98010, 55, 0))
		if len(s.raised) > 0 {
			t.Errorf("raised %v", s.kinds())
		}
	})
}

func (s *scene) set(channel string, v float64) *scene { s.ch[channel] = v; return s }

// quantise runs with noisy readings in steps.
func (s *scene) quantise(step, seconds float64) *scene {
	s.exact = true
	return s.run(seconds, func(float64) {
		s.ch[decode.PressurePa] = math.Round((98000+0.4*step*s.rng.NormFloat64())/step) * step
	})
}

// sorted makes the order of kinds not matter.
func sorted(v []string) []string { return slices.Sorted(slices.Values(v)) }

func withRate(hz float64) []flight.Rocket {
	r := teal()
	r.RateHz = hz
	return []flight.Rocket{r}
}
