package ensemble

import "math"

// padStay is how long a fault on the pad is watched, in s.
const padStay = 45

func onPad(in *injection) { in.stay(padStay) }

// padFaults are barometers that cannot be trusted.
func padFaults() []Fault {
	return append(levelFaults(), readingFaults()...)
}

// levelFaults are pressures that cannot be right.
func levelFaults() []Fault {
	return []Fault{
		{
			Kind: "implausible-pressure", Where: "pad", Says: "a pressure that the site cannot have",
			Alarms: []string{"implausible-pressure"}, before: onPad,
			after: func(in *injection) {
				off := Range{8000, 20000}.draw(in.rng)
				if in.p.air.padPa < standardPa(*in.p.site.ElevationM) {
					off = -off // away from the standard, not towards it
				}
				in.p.sensor.biasPa = off
				in.from(0, 6)
			},
		},
		{
			Kind: "odd-one-out", Where: "pad", Says: "a pressure unlike that of the two rockets beside it",
			Alarms: []string{"odd-one-out"}, before: onPad,
			after: func(in *injection) {
				in.p.sensor.biasPa = Range{1200, 2500}.drawSigned(in.rng)
				in.second("Rust")
				in.second("Plum")
				in.from(0, 15)
			},
		},
	}
}

// readingFaults are readings that come wrongly.
func readingFaults() []Fault {
	return []Fault{
		{
			Kind: "sensor-stuck", Where: "pad", Says: "the same pressure for ever",
			Alarms: []string{"sensor-stuck"}, before: onPad,
			after: func(in *injection) {
				in.p.sensor.change = change{from: in.padOnset(), stuck: true}
				in.from(in.p.sensor.change.from, 8)
			},
		},
		{
			Kind: "sensor-noisy", Where: "pad", Says: "3 to 6 m of noise",
			Alarms: []string{"sensor-noisy"}, before: onPad,
			after: func(in *injection) {
				rms := Range{3, 6}.draw(in.rng) * in.p.air.paPerM()
				in.p.sensor.change = change{from: in.padOnset(), noiseTimes: rms / in.p.sensor.noisePa}
				in.from(in.p.sensor.change.from, 10)
			},
		},
		{
			Kind: "sensor-drift", Where: "pad", Says: "the height creeps by 0.4 to 0.8 m/s",
			Alarms: []string{"sensor-drift"}, before: onPad,
			after: func(in *injection) {
				rate := Range{0.4, 0.8}.drawSigned(in.rng)
				in.p.sensor.change = change{from: in.padOnset(), rampPaS: rate * in.p.air.paPerM()}
				in.from(in.p.sensor.change.from, 10+7/math.Abs(rate))
			},
		},
		{
			Kind: "sensor-coarse", Where: "pad", Says: "steps of 30 to 60 Pa, odd for this sensor",
			Alarms: []string{"sensor-coarse"}, before: onPad,
			after: func(in *injection) {
				in.p.sensor.stepPa = math.Round(Range{30, 60}.draw(in.rng))
				// Enough noise that neighbouring steps are seen at all.
				in.p.sensor.noisePa = max(in.p.sensor.noisePa, 0.35*in.p.sensor.stepPa)
				in.from(0, 10)
			},
		},
		{
			Kind: "rate-wrong", Where: "pad", Says: "the board sends at 0.4 to 0.65 or 1.4 to 2 times its rate",
			Alarms: []string{"rate-wrong"}, before: onPad,
			after: func(in *injection) {
				times := Range{0.4, 0.65}
				if in.rng.Uint64()&1 == 0 {
					times = Range{1.4, 2}
				}
				t := in.padOnset()
				in.p.board.rates = append(in.p.board.rates, rateChange{t, in.p.board.rate * times.draw(in.rng)})
				in.from(t, 8)
			},
		},
	}
}

// boardFaults are those of supply, servo and firmware.
func boardFaults() []Fault {
	return append(supplyFaults(), []Fault{
		{
			Kind: "servo-range", Where: "pad", Says: "a pulse beyond the limits of the servo",
			Alarms: []string{"servo-range"}, before: onPad,
			after: func(in *injection) {
				us := in.p.rocket.ReleaseMaxUs + Range{100, 400}.draw(in.rng)
				if in.rng.Uint64()&1 == 0 {
					us = in.p.rocket.ReleaseMinUs - Range{100, 300}.draw(in.rng)
				}
				t := in.padOnset()
				in.p.board.twitches = append(in.p.board.twitches, twitch{span{t, t + 4}, math.Round(us)})
				in.from(t, 1)
			},
		},
		{
			Kind: "servo-moving", Where: "pad", Says: "the servo moves to and fro within its limits",
			Alarms: []string{"servo-moving"}, before: onPad,
			after: func(in *injection) {
				t := in.padOnset()
				in.from(t, 1)
				for range 4 {
					us := math.Round(in.p.rocket.ReleaseRestUs + Range{150, 500}.draw(in.rng))
					in.p.board.twitches = append(in.p.board.twitches, twitch{span{t, t + 0.5}, us})
					t += Range{1, 2}.draw(in.rng)
				}
			},
		},
		{
			Kind: "not-armed", Where: "flight", Says: "the apogee rule is not armed after liftoff",
			Alarms: []string{"not-armed"},
			after: func(in *injection) {
				in.p.board.armAt = math.Inf(1)
				in.from(in.at(1.2), 1)
			},
		},
		{
			Kind: "armed-early", Where: "pad", Says: "the apogee rule is armed while it stands on the pad",
			Alarms: []string{"armed-early"}, before: onPad,
			after: func(in *injection) {
				in.p.board.armAt = in.padOnset()
				in.from(in.p.board.armAt, 2)
			},
		},
		{
			Kind: "clock-jump", Where: "pad", Says: "the board's clock jumps by 2 to 60 s, the numbers go on",
			Alarms: []string{"clock-jump"}, before: onPad,
			after: func(in *injection) {
				t := in.padOnset()
				in.p.board.jumps = append(in.p.board.jumps, clockJump{t, Range{2, 60}.draw(in.rng)})
				in.from(t, 1)
			},
		},
	}...)
}

// supplyFaults are those of the cell before and in the flight.
func supplyFaults() []Fault {
	return []Fault{
		{
			Kind: "cell-low", Where: "pad", Says: "the cell rests at 3.1 to 3.5 V",
			Alarms: []string{"cell-low"}, before: onPad,
			after: func(in *injection) {
				in.p.power.volts = Range{3.1, 3.5}.draw(in.rng)
				in.from(0, 6)
			},
		},
		{
			Kind: "wrong-supply", Where: "pad", Says: "8.6 to 9.4 V where a lithium cell is named",
			Alarms: []string{"wrong-supply"}, before: onPad,
			after: func(in *injection) {
				in.p.power.volts = Range{8.6, 9.4}.draw(in.rng)
				in.from(0, 6)
			},
		},
		{
			Kind: "cell-sag", Where: "flight", Says: "the cell dips by 0.75 to 1.2 V when the servo moves",
			Alarms: []string{"cell-sag"},
			after: func(in *injection) {
				in.p.power.sagV = Range{0.75, 1.2}.draw(in.rng)
				in.from(in.p.board.servoAt, 2)
			},
		},
	}
}
