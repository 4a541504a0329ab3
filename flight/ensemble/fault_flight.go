package ensemble

import "math"

// flightFaults are those of the climb and of the release.
func flightFaults() []Fault {
	return append(releaseFaults(), earlyFaults()...)
}

// releaseFaults are releases too late, or not at all.
func releaseFaults() []Fault {
	return []Fault{
		{
			Kind: "no-release", Where: "flight", Says: "the board never commands the release; it falls without a parachute",
			Alarms: []string{"no-release", "ballistic"},
			before: func(in *injection) { in.p.outing = never() },
			after:  func(in *injection) { in.from(in.at(in.marks.apogee+in.p.rocket.ReleaseDelayS), 1) },
		},
		{
			Kind: "late-release", Where: "flight", Says: "the release comes well after the allowed delay",
			Alarms: []string{"no-release", "ballistic"},
			before: func(in *injection) {
				// At most half of the way down: 4 s fall through 60 m or so.
				m := in.flown()
				in.p.outing = after(Range{1.9, 2.4}.draw(in.rng) + 0.006*m.apogeeM)
			},
			after: func(in *injection) { in.from(in.at(in.marks.apogee+in.p.rocket.ReleaseDelayS), 1) },
		},
		{
			Kind: "ballistic", Where: "flight", Says: "the servo moves at apogee, the parachute stays in",
			Alarms: []string{"ballistic", "no-release"},
			before: func(in *injection) { in.p.outing.stuckIn = true },
			after:  func(in *injection) { in.from(in.at(in.marks.apogee+in.p.rocket.ReleaseDelayS), 1) },
		},
	}
}

// earlyFaults are releases too early, boards that fall silent or start again,
// and launches that are none.
func earlyFaults() []Fault {
	return []Fault{
		{
			Kind: "early-release", Where: "flight", Says: "the parachute opens while it still climbs",
			Alarms: []string{"early-release"},
			before: func(in *injection) {
				m := in.flown()
				in.p.outing = after(-Range{0.3, 0.6}.draw(in.rng) * (m.apogee - m.burnout))
			},
			after: func(in *injection) { in.from(in.at(in.marks.release), 0.5) },
		},
		{
			Kind: "release-in-boost", Where: "flight", Says: "the release is commanded while the thrust acts",
			Alarms: []string{"early-release"},
			before: func(in *injection) {
				m := in.flown()
				in.p.outing = never()
				in.p.outing.byClock = Range{0.2, 0.9}.draw(in.rng) * m.burnout
			},
			after: func(in *injection) { in.from(in.at(in.marks.release), 0.6) },
		},
		{
			Kind: "silent", Where: "flight", Says: "nothing more is heard from some moment in flight on",
			Alarms: []string{"silent"},
			after: func(in *injection) {
				m := in.marks
				t := in.at(Range{m.burnout + 0.3, m.touchdown - 1.5}.draw(in.rng))
				in.p.radio.gaps = append(in.p.radio.gaps, span{t, math.Inf(1)})
				in.p.end = max(in.p.end, t+8)
				in.from(t, 3)
			},
		},
		{
			Kind: "reboot", Where: "flight", Says: "the board starts again in flight",
			Alarms: []string{"reboot"},
			after: func(in *injection) {
				m := in.marks
				t, gap := in.at(Range{m.burnout + 0.3, m.touchdown - 2}.draw(in.rng)), Range{0.3, 0.8}.draw(in.rng)
				in.p.board.reboots = append(in.p.board.reboots, reboot{t, gap})
				in.from(t+gap, 0.5)
			},
		},
		{
			Kind: "no-liftoff", Where: "flight", Says: "a blow of pressure as at a launch, and the rocket stays where it is",
			Alarms: []string{"no-liftoff"},
			before: func(in *injection) { in.stay(40) },
			after: func(in *injection) {
				k := in.p.air.paPerM()
				t, n := Range{12, 20}.draw(in.rng), Range{0.5, 1}.draw(in.rng)
				in.p.sensor.bumps = append(in.p.sensor.bumps, bump{from: t, lenS: n, pa: Range{30, 50}.draw(in.rng) * k, shape: hump})
				in.from(t, n+4)
			},
		},
	}
}

// flown is how the flight goes as drawn, before the fault.
func (in *injection) flown() marks {
	var p truePath
	// The plan was flown when it was drawn: it cannot fail now.
	_ = in.p.fly(&p)
	return p.marks
}

// descentFaults are parachutes of the wrong size, and flights that leave.
func descentFaults() []Fault {
	return []Fault{
		{
			Kind: "fast-descent", Where: "flight", Says: "the parachute is torn or too small: it sinks two to three times as fast",
			Alarms: []string{"fast-descent", "ballistic"},
			before: func(in *injection) { in.p.outing.chute = 1 / Range{2, 3}.draw(in.rng) },
			after:  func(in *injection) { in.from(in.at(opened(in.marks)), 3) },
		},
		{
			Kind: "slow-descent", Where: "flight", Says: "it sinks at 0.3 to 0.4 of the rate of its parachute, and drifts",
			Alarms: []string{"slow-descent"},
			before: func(in *injection) { in.p.outing.chute = 1 / Range{0.3, 0.4}.draw(in.rng) },
			after:  func(in *injection) { in.from(in.at(opened(in.marks)), 5) },
		},
		{
			Kind: "out-of-field", Where: "flight", Says: "the wind aloft carries it over the edge of the field, by its own positions",
			Alarms: []string{"out-of-field"},
			before: func(in *injection) { in.p.board.gps = true },
			after:  leaveField,
		},
	}
}

// opened is when the parachute carries; if it never quite did, a second after
// the release.
func opened(m marks) float64 {
	if math.IsNaN(m.open) {
		return m.release + 1
	}
	return m.open
}

// leaveField lets the wind take the rocket from the release on, so that it
// crosses the edge at six tenths of the descent. Whoever watches the drift can
// tell soon after the release; the alarm is late a second after the edge.
func leaveField(in *injection) {
	m := in.marks
	in.p.site.FieldRadiusM = 60
	way := 1.0
	if in.path.last().Across < 0 {
		way = -1
	}
	b := &in.p.board
	b.walkFrom = in.at(m.release)
	b.walkMps = way * in.p.site.FieldRadiusM / (0.6 * (m.touchdown - m.release))
	c := cursor{path: in.path}
	for t := b.walkFrom; t < in.at(m.touchdown); t += 0.02 {
		east := c.at(t-in.p.liftoff).Across + b.walkMps*(t-b.walkFrom)
		if math.Abs(east) > in.p.site.FieldRadiusM {
			in.from(b.walkFrom, t+1-b.walkFrom)
			return
		}
	}
}
