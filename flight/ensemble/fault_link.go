package ensemble

import "math"

// linkFaults are those of the radio and of boards that share it.
func linkFaults() []Fault {
	return []Fault{
		{
			Kind: "losses", Where: "link", Says: "60 to 80 % of the frames are lost",
			Alarms: []string{"losses"}, before: onPad,
			after: func(in *injection) {
				in.p.radio.loss, in.p.radio.burst = Range{0.6, 0.8}.draw(in.rng), Range{2, 5}.draw(in.rng)
				in.from(0, 20)
			},
		},
		{
			Kind: "weak-signal", Where: "link", Says: "the signal falls to -114 to -122 dBm",
			Alarms: []string{"weak-signal"}, before: onPad,
			after: func(in *injection) {
				in.p.radio.weakFrom = in.padOnset()
				in.p.radio.weakDb = in.p.radio.rssi + Range{114, 122}.draw(in.rng)
				in.from(in.p.radio.weakFrom, 8)
			},
		},
		{
			Kind: "collision", Where: "link", Says: "two boards on one channel send over each other: both lose 35 to 55 %",
			Alarms: []string{"collision", "losses"}, before: onPad,
			after: func(in *injection) {
				q := in.second("Rust")
				// The two rates differ a little, so that they slide past each
				// other.
				q.board.rate *= 1 + Range{0.01, 0.03}.drawSigned(in.rng)
				in.airtime = Range{0.35, 0.55}.draw(in.rng) / (2 * in.p.board.rate)
				in.from(0, 25)
			},
		},
		{
			Kind: "duplicate-id", Where: "pad", Says: "a second board sends under the same id",
			Alarms: []string{"duplicate-id"}, before: onPad,
			after: func(in *injection) {
				in.second(in.p.board.rocket)
				in.from(0, 6)
			},
		},
	}
}

// landedFaults are those after the landing.
func landedFaults() []Fault {
	linger := func(s float64) func(*injection) { return func(in *injection) { in.p.afterS = s } }
	return []Fault{
		{
			Kind: "hung", Where: "landed", Says: "it hangs 10 to 18 m above the ground",
			Alarms: []string{"hung"},
			before: func(in *injection) { in.p.outing.groundM, in.p.afterS = Range{10, 18}.draw(in.rng), 40 },
			after:  func(in *injection) { in.from(in.at(in.marks.touchdown), 20) },
		},
		{
			Kind: "not-at-rest", Where: "landed", Says: "the wind drags it over rough ground",
			Alarms: []string{"not-at-rest"}, before: linger(60),
			after: func(in *injection) {
				in.p.sensor.dragPa = Range{2.5, 5}.draw(in.rng) * in.p.air.paPerM()
				in.from(in.at(in.marks.touchdown+10), 30)
			},
		},
		{
			Kind: "servo-on", Where: "landed", Says: "the servo stays driven open and draws current",
			Alarms: []string{"servo-on"}, before: linger(45),
			after: func(in *injection) {
				in.p.board.closeAt = math.Inf(1)
				in.p.power.stallFrom = in.at(in.marks.touchdown)
				in.p.power.stallV = Range{0.1, 0.25}.draw(in.rng)
				in.from(in.at(in.marks.touchdown+20), 10)
			},
		},
		{
			Kind: "cell-flat", Where: "landed", Says: "the cell falls below 3.0 V after the landing",
			Alarms: []string{"cell-flat"}, before: linger(60),
			after: func(in *injection) {
				w := &in.p.power
				w.dropFrom, w.dropVps, w.floorV = in.at(in.marks.touchdown+5), Range{0.08, 0.2}.draw(in.rng), Range{2.3, 2.8}.draw(in.rng)
				at := w.volts - w.fallVph*w.dropFrom/3600
				in.from(w.dropFrom+(at-3)/w.dropVps, 8)
			},
		},
	}
}
