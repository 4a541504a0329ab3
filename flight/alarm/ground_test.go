package alarm

import (
	"math"

	"padlark/decode"
	"padlark/flight"
)

// sensorCases are barometers on the pad.
func sensorCases() []ruleCase {
	elevation := 300.0
	return []ruleCase{
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
	}
}

// supplyCases are supplies, at rest and under load.
func supplyCases() []ruleCase {
	return []ruleCase{
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
	}
}

// boardCases are servo, arming, clock and rate on the pad.
func boardCases() []ruleCase {
	return []ruleCase{
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
	}
}

// linkCases are the radio, and what looks like a launch.
func linkCases() []ruleCase {
	return []ruleCase{
		{"losses", Config{}, func(s *scene) { s.drop = 7; s.run(15, nil) }, []string{"losses"}, "70 %"},
		{"a third lost is bearable", Config{}, func(s *scene) { s.drop = 3; s.run(15, nil) }, nil, ""},
		{"weak", Config{}, func(s *scene) { s.rssi = -118; s.run(8, nil) }, []string{"weak-signal"}, "-118 dBm"},
		{"silent on the pad", Config{}, func(s *scene) { s.run(8, nil).mute = true; s.run(12, nil) }, []string{"silent"}, "antenna"},
		{"heard for a moment only", Config{}, func(s *scene) { s.run(1, nil).mute = true; s.run(20, nil) }, nil, ""},
		{"a blow without liftoff", Config{}, func(s *scene) {
			s.run(10, nil).set(decode.PressurePa, 98400).run(0.3, nil).set(decode.PressurePa, 98000).run(4, nil)
		}, []string{"no-liftoff"}, "Stay back"},
		{"the bottle's pressure falls", Config{}, func(s *scene) {
			s.set(bottlePa, 5e5).run(10, nil).set(bottlePa, 0).run(4, nil)
		}, []string{"no-liftoff"}, "from 5.0 to 0.0 bar"},
		{"a jolt", Config{}, func(s *scene) {
			s.set(decode.AccelMps2, 9.8).run(10, nil).set(decode.AccelMps2, 60).run(0.1, nil).set(decode.AccelMps2, 9.8).run(4, nil)
		}, []string{"no-liftoff"}, "jolted"},
	}
}

// landedCases are rockets that have come down.
func landedCases() []ruleCase {
	down := func(s *scene, alt float64) *scene {
		s.run(10, nil).climb().apogee().fall(0.2)
		s.release()
		s.fall(0.3).sink(3.9, (*s.st.AltitudeM-alt)/3.9-1)
		return s.land(alt)
	}
	return []ruleCase{
		{"at rest", Config{}, func(s *scene) { down(s, 0).run(60, nil) }, nil, ""},
		{"in a tree", Config{}, func(s *scene) { down(s, 12).run(15, nil) }, []string{"hung"}, "12 m above"},
		{"on a small rise", Config{}, func(s *scene) { down(s, 3).run(30, nil) }, nil, ""},
		{"dragged", Config{}, func(s *scene) {
			down(s, 0).run(30, func(t float64) { s.ch[decode.PressurePa] = 98000 + 40*math.Sin(t) + 30*math.Sin(t/3) })
		}, []string{"not-at-rest"}, "rms"},
		{"servo pulls", Config{}, func(s *scene) {
			down(s, 0).set(decode.ReleaseUs, 1900).set(decode.CellV, 3.85).run(30, nil)
		}, []string{"servo-on"}, "still 1900 us"},
		{"a little lower after the flight", Config{}, func(s *scene) { down(s, 0).set(decode.CellV, 3.85).run(60, nil) }, nil, ""},
		{"cell flat", Config{}, func(s *scene) { down(s, 0).run(20, func(t float64) { s.ch[decode.CellV] = math.Max(2.8, 4-0.1*t) }) }, []string{"cell-flat"}, "below 3.00 V"},
		{"switched off", Config{}, func(s *scene) { down(s, 0).run(10, nil).mute = true; s.run(60, nil) }, nil, ""},
	}
}
