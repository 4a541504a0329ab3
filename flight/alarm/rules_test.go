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

// Each rule is shown its condition, and beside it the nearest thing that must
// leave it silent.
func TestRulesInFlight(t *testing.T) {
	for _, c := range []struct {
		name string
		cfg  Config
		fly  func(s *scene)
		want []string
		says string // part of the reason of the first
	}{
		{"a good flight", Config{}, func(s *scene) {
			s.run(10, nil).climb().apogee().fall(0.3)
			s.release()
			s.fall(0.3).sink(3.9, 12).land(0).run(30, nil)
		}, nil, ""},
		{"no release", Config{}, func(s *scene) { s.run(10, nil).climb().apogee().fall(2.5) },
			[]string{"ballistic", "no-release"}, "no release was seen"},
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
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newScene(t, c.cfg)
			c.fly(s)
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

func TestRulesOnTheGround(t *testing.T) {
	elevation := 300.0
	for _, c := range []struct {
		name string
		cfg  Config
		do   func(s *scene)
		want []string
		says string
	}{
		{"waiting", Config{}, func(s *scene) { s.run(60, nil) }, nil, ""},
		{"stuck", Config{}, func(s *scene) { s.run(5, nil).exact = true; s.run(5, nil) }, []string{"sensor-stuck"}, "the very same pressure"},
		{"noisy", Config{}, func(s *scene) {
			s.run(20, func(float64) { s.ch[decode.PressurePa] = 98000 + 50*s.rng.NormFloat64() })
		}, []string{"sensor-noisy"}, "limit"},
		{"gusts are not noise", Config{}, func(s *scene) {
			s.run(30, func(t float64) { s.ch[decode.PressurePa] = 98000 + 20*math.Sin(t) })
		}, nil, ""},
		{"one outlier is nothing", Config{}, func(s *scene) {
			s.run(30, func(t float64) {
				s.ch[decode.PressurePa] = 98000
				if math.Abs(t-15) < 0.005 {
					s.ch[decode.PressurePa] = 94000
				}
			})
		}, nil, ""},
		{"drifting", Config{}, func(s *scene) {
			s.run(30, func(t float64) { s.ch[decode.PressurePa] = 98000 - 6*t })
		}, []string{"sensor-drift"}, "wandered"},
		{"coarse", Config{}, func(s *scene) {
			s.quantise(40, 10)
		}, []string{"sensor-coarse"}, "steps of 40 Pa"},
		{"steps of 10 Pa are well", Config{}, func(s *scene) { s.quantise(10, 20) }, nil, ""},
		{"another site's pressure", Config{Site: flight.Site{ElevationM: &elevation}}, func(s *scene) {
			s.set(decode.PressurePa, 85000).run(10, nil)
		}, []string{"implausible-pressure"}, "elevation"},
		{"far from the measured pressure", Config{Site: flight.Site{PressurePa: num(98900)}}, func(s *scene) { s.run(10, nil) }, []string{"implausible-pressure"}, "measured pressure"},
		{"a pressure of the Moon", Config{}, func(s *scene) { s.set(decode.PressurePa, 30000).run(10, nil) }, []string{"implausible-pressure"}, "no place"},
		{"cell low", Config{}, func(s *scene) { s.set(decode.CellV, 3.4).run(10, nil) }, []string{"cell-low"}, "3.40 V"},
		{"9 V battery", Config{}, func(s *scene) { s.set(decode.CellV, 9.1).run(10, nil) }, []string{"wrong-supply"}, "cannot drive the release servo"},
		{"the divider is off", Config{}, func(s *scene) { s.set(decode.CellV, 0).run(10, nil) }, []string{"wrong-supply"}, "divider"},
		{"sag under the servo", Config{}, func(s *scene) {
			s.run(10, nil).set(decode.ReleaseUs, 1050).set(decode.CellV, 3.2).run(0.3, nil).set(decode.CellV, 3.98).run(3, nil)
		}, []string{"cell-sag"}, "dipped by 0.80 V to 3.20 V"},
		{"a small dip is well", Config{}, func(s *scene) {
			s.run(10, nil).set(decode.ReleaseUs, 1050).set(decode.CellV, 3.8).run(0.3, nil).set(decode.CellV, 3.98).run(3, nil)
		}, nil, ""},
		{"a tired cell recovers slowly", Config{}, func(s *scene) {
			s.run(10, nil).set(decode.ReleaseUs, 1050).set(decode.CellV, 3.75).run(5, nil)
		}, []string{"cell-sag"}, "more than 1.5 s after"},
		{"servo beyond its stop", Config{}, func(s *scene) { s.run(5, nil).set(decode.ReleaseUs, 2300).run(2, nil) }, []string{"servo-range"}, "2300 us"},
		{"servo moves", Config{}, func(s *scene) { s.run(5, nil).set(decode.ReleaseUs, 1200).run(1, nil) }, []string{"servo-moving"}, "from 1000 to 1200 us"},
		{"release stands open", Config{}, func(s *scene) { s.run(5, nil).set(decode.ReleaseOn, 1).run(1, nil) }, []string{"servo-moving"}, "stands open"},
		{"armed on the pad", Config{}, func(s *scene) { s.run(5, nil).set(decode.Armed, 1).run(3, nil) }, []string{"armed-early"}, "people beside it"},
		{"armed on the pad by a switch", Config{Thresholds: Thresholds{Water: Limits{Arms: "pad"}}}, func(s *scene) {
			s.run(5, nil).set(decode.Armed, 1).run(3, nil)
		}, nil, ""},
		{"armed before it settled", Config{Thresholds: Thresholds{Water: Limits{Arms: "pad"}}}, func(s *scene) {
			s.clock = 0
			s.set(decode.Armed, 1).run(2.9, nil)
		}, []string{"armed-early"}, "has not had time"},
		{"half the rate", Config{Rockets: withRate(100)}, func(s *scene) { s.run(10, nil) }, []string{"rate-wrong"}, "100 are configured"},
		{"clock jumps", Config{}, func(s *scene) {
			s.run(5, nil)
			s.clock += 7
			s.run(3, nil)
		}, []string{"clock-jump"}, "forward by 7.00 s"},
		{"restart on the pad", Config{}, func(s *scene) {
			s.run(5, nil)
			s.boot, s.seq, s.clock = 2, 0, -s.now
			s.run(3, nil)
		}, []string{"reboot"}, "start 2"},
		{"losses", Config{}, func(s *scene) { s.drop = 7; s.run(15, nil) }, []string{"losses"}, "70 %"},
		{"a third lost is bearable", Config{}, func(s *scene) { s.drop = 3; s.run(15, nil) }, nil, ""},
		{"weak", Config{}, func(s *scene) { s.rssi = -118; s.run(8, nil) }, []string{"weak-signal"}, "-118 dBm"},
		{"silent on the pad", Config{}, func(s *scene) { s.run(8, nil).mute = true; s.run(12, nil) }, []string{"silent"}, "antenna"},
		{"heard for a moment only", Config{}, func(s *scene) { s.run(1, nil).mute = true; s.run(20, nil) }, nil, ""},
		{"a blow without liftoff", Config{}, func(s *scene) {
			s.run(10, nil).set(decode.PressurePa, 98400).run(0.3, nil).set(decode.PressurePa, 98000).run(4, nil)
		}, []string{"no-liftoff"}, "Stay back"},
		{"the bottle's pressure falls", Config{}, func(s *scene) {
			s.set(BottlePa, 5e5).run(10, nil).set(BottlePa, 0).run(4, nil)
		}, []string{"no-liftoff"}, "from 5.0 to 0.0 bar"},
		{"a jolt", Config{}, func(s *scene) {
			s.set(decode.AccelMps2, 9.8).run(10, nil).set(decode.AccelMps2, 60).run(0.1, nil).set(decode.AccelMps2, 9.8).run(4, nil)
		}, []string{"no-liftoff"}, "jolted"},
	} {
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

func TestRulesAfterLanding(t *testing.T) {
	down := func(s *scene, alt float64) *scene {
		s.run(10, nil).climb().apogee().fall(0.2)
		s.release()
		s.fall(0.3).sink(3.9, (*s.st.AltitudeM-alt)/3.9-1)
		return s.land(alt)
	}
	for _, c := range []struct {
		name string
		do   func(s *scene)
		want []string
		says string
	}{
		{"at rest", func(s *scene) { down(s, 0).run(60, nil) }, nil, ""},
		{"in a tree", func(s *scene) { down(s, 12).run(15, nil) }, []string{"hung"}, "12 m above"},
		{"on a small rise", func(s *scene) { down(s, 3).run(30, nil) }, nil, ""},
		{"dragged", func(s *scene) {
			down(s, 0).run(30, func(t float64) { s.ch[decode.PressurePa] = 98000 + 40*math.Sin(t) + 30*math.Sin(t/3) })
		}, []string{"not-at-rest"}, "rms"},
		{"servo pulls", func(s *scene) {
			down(s, 0).set(decode.ReleaseUs, 1900).set(decode.CellV, 3.85).run(30, nil)
		}, []string{"servo-on"}, "still 1900 us"},
		{"a little lower after the flight", func(s *scene) { down(s, 0).set(decode.CellV, 3.85).run(60, nil) }, nil, ""},
		{"cell flat", func(s *scene) { down(s, 0).run(20, func(t float64) { s.ch[decode.CellV] = math.Max(2.8, 4-0.1*t) }) }, []string{"cell-flat"}, "below 3.00 V"},
		{"switched off", func(s *scene) { down(s, 0).run(10, nil).mute = true; s.run(60, nil) }, nil, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newScene(t, Config{})
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
