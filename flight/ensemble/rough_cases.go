package ensemble

import "math"

// RoughCases are the named cases of the rough world: what parachutes, vents and
// boards do that no estimator models.
func RoughCases() []Case {
	return append(append(roughFalls(), roughBoards()...), roughLogs()...)
}

// gentle is the rough physics with a good board, described and told: the spec
// behind the rough cases.
func gentle() Spec {
	s := steady()
	s.WaterM = Range{60, 150}
	s.ReleaseLagS = Range{0, 0.9}
	s.SinkMps = Range{3, 6}
	s.AfterS = Range{15, 20}
	h := *Rough().Hard
	h.SwingPa, h.PortCp, h.OutS = Range{1, 3}, Range{0, 0.05}, Range{0.05, 0.25}
	h.TwoStageShare, h.UntoldShare, h.AltitudeShare, h.UndescribedShare, h.NoTempShare = 0, 0, 0, 0, 0
	h.AxesShare, h.GPSShare = 0, 0
	s.Hard = &h
	return s
}

// with is a spec like gentle, changed.
func with(change func(s *Spec, h *Hardship)) func() Spec {
	return func() Spec {
		s := gentle()
		change(&s, s.Hard)
		return s
	}
}

// roughFalls are those of vents and canopies.
func roughFalls() []Case {
	return []Case{
		{Name: "swings", Says: "hangs and swings: 8 to 10 Pa at 0.5 to 1.5 Hz, growing", spec: with(func(s *Spec, h *Hardship) {
			h.SwingPa = Range{8, 10}
			s.WaterM = Range{120, 150}
		})},
		{Name: "vent-suction", Says: "a vent that reads low pressure at speed, by 20 to 30 % of the dynamic pressure", spec: with(fastClimb),
			plan: func(p *plan, _ *truePath) { p.sensor.portCp = -0.2 - 0.1*p.fraction() }},
		{Name: "vent-ram", Says: "a vent that reads high pressure at speed, by 20 to 30 % of the dynamic pressure", spec: with(fastClimb),
			plan: func(p *plan, _ *truePath) { p.sensor.portCp = 0.2 + 0.1*p.fraction() }},
		{Name: "burnout-dip", Says: "1.5 to 2.5 km high; reads down to -49 m for 0.4 s just after burnout", spec: with(func(s *Spec, h *Hardship) {
			s.SolidShare, s.SolidM = 1, Range{1500, 2500}
			h.PortCp = Fixed(0)
		}), plan: func(p *plan, path *truePath) {
			m := path.marks
			c := cursor{path: path}
			deep := c.at(m.burnout+0.2).Height + 49
			p.sensor.bumps = append(p.sensor.bumps, bump{from: p.liftoff + m.burnout, lenS: 0.4, pa: deep * p.air.paPerM(), shape: hump})
		}},
		{Name: "two-stage", Says: "a small canopy at the top, a large one 40 to 60 m above the ground", spec: with(func(s *Spec, h *Hardship) {
			s.SolidShare, s.SolidM = 1, Range{300, 600}
			h.TwoStageShare, h.SecondM = 1, Range{40, 60}
		})},
		{Name: "snagged", Says: "the canopy comes out, is caught for 1.5 to 2.5 s and then opens", spec: with(func(s *Spec, h *Hardship) {
			s.WaterM = Range{120, 150}
			h.SnagShare, h.SnagS = 1, Range{1.5, 2.5}
		})},
		{Name: "tumbles", Says: "nothing opens: it tumbles to the ground at 12 to 20 m/s", spec: with(func(s *Spec, h *Hardship) {
			s.WaterM = Range{80, 150}
			s.NoneShare = 1
		}), plan: func(p *plan, path *truePath) {
			c := p.craft.(roughCraft)
			v := 12 + 8*p.fraction()
			p.hard.tumble = 2 * c.motion.mass * g0 / (p.air.padDensity() * v * v) / c.motion.dragA
			// It was flown with less drag: it cannot fail.
			_ = p.fly(path)
			p.arrange(path, -1)
		}},
	}
}

// fastClimb is a flight in which a vent matters.
func fastClimb(s *Spec, _ *Hardship) { s.WaterM = Range{80, 200} }

// fraction is from 0 to 1, the same for the same flight.
func (p *plan) fraction() float64 { return stream(p.seed, p.index, forFault).Float64() }

// roughBoards are those of poor and of rich boards.
func roughBoards() []Case {
	return []Case{
		{Name: "untold", Says: "sends clock and pressure only, swings; nothing is described", spec: with(func(s *Spec, h *Hardship) {
			h.UntoldShare, h.UndescribedShare, h.NoTempShare, h.SwingPa = 1, 1, 1, Range{3, 6}
			s.PadC = Range{-5, 35}
		})},
		{Name: "metres", Says: "sends its own height, by the standard atmosphere, in air of -5 or 35 degC", spec: with(func(s *Spec, h *Hardship) {
			h.UntoldShare, h.AltitudeShare, h.NoTempShare, h.AltStepM = 1, 1, 1, []float64{0.01}
			s.PadC = Range{-5, 35}
		}), plan: func(p *plan, _ *truePath) {
			p.air.padK = zeroC - 5
			if p.fraction() > 0.5 {
				p.air.padK = zeroC + 35
			}
		}},
		{Name: "whole-metres", Says: "sends its own height in whole metres at 10 Hz", spec: with(func(s *Spec, h *Hardship) {
			h.UntoldShare, h.AltitudeShare, h.AltStepM = 1, 1, []float64{1}
			s.RateHz = []float64{10}
		})},
		{Name: "eight-bit", Says: "pressure in steps of 20 Pa, as of a short register", spec: with(func(s *Spec, h *Hardship) {
			h.UntoldShare, s.StepPa = 1, []float64{20}
		})},
		{Name: "two-hertz", Says: "two readings a second, 150 to 250 m high", spec: with(func(s *Spec, h *Hardship) {
			s.RateHz, s.WaterM = []float64{2}, Range{150, 250}
			h.UntoldShare = 1
		})},
		{Name: "three-axes", Says: "an accelerometer mounted anyhow, with bias, that stops at 4 g; a satellite receiver", spec: with(func(_ *Spec, h *Hardship) {
			h.AxesShare, h.GPSShare, h.AccelG = 1, 1, []float64{4}
		})},
		{Name: "axes-lie", Says: "an accelerometer that freezes at the liftoff", spec: with(func(_ *Spec, h *Hardship) {
			h.AxesShare = 1
		}), after: func(f *Flight) {
			for i := range f.Samples {
				if f.trueS(i) > f.Truth.LiftoffS {
					copy(f.Samples[i].Values.Values[6:9], f.Samples[0].Values.Values[6:9])
				}
			}
		}},
	}
}

// roughLogs are those of restarts, landings and clocks.
func roughLogs() []Case {
	return []Case{
		{Name: "restart-level", Says: "starts again on the pad after 5 s of silence, 8 m lower by its pressure", spec: with(func(s *Spec, _ *Hardship) {
			s.PadS = Fixed(40)
		}), plan: func(p *plan, _ *truePath) { p.restartAt(15, 5, 8) }},
		{Name: "restart-only", Says: "the same and never flies", spec: with(func(s *Spec, _ *Hardship) {}), plan: func(p *plan, path *truePath) {
			p.restartAt(15, 5, -8)
			p.stand(path, 60)
		}},
		{Name: "starts-at-liftoff", Says: "begins at liftoff, clock and pressure only", spec: with(func(_ *Spec, h *Hardship) {
			h.UntoldShare = 1
		}), after: func(f *Flight) { f.cut(f.Truth.LiftoffS, math.Inf(1)) }},
		{Name: "landing-bump", Says: "reads 48 m high for 0.15 s when somebody picks it up", spec: with(func(_ *Spec, h *Hardship) {
			h.UntoldShare = 1
		}), plan: func(p *plan, path *truePath) {
			p.sensor.bumps = append(p.sensor.bumps, bump{from: p.liftoff + path.marks.touchdown + 10, lenS: 0.15, pa: -48 * p.air.paPerM()})
		}},
		{Name: "leap-on-pad", Says: "the clock leaps by 400 days while it waits", spec: with(func(s *Spec, _ *Hardship) { s.PadS = Fixed(25) }),
			plan: func(p *plan, _ *truePath) {
				p.board.leaps = append(p.board.leaps, clockJump{10, 400 * 86400})
			}},
		{Name: "long-silence", Says: "nothing is heard for six hours on the pad, and the weather changes by 300 Pa", spec: with(func(s *Spec, _ *Hardship) {
			s.PadS = Fixed(6*3600 + 60)
			s.RateHz = []float64{10}
		}), plan: func(p *plan, _ *truePath) {
			p.radio.gaps = append(p.radio.gaps, span{30, 30 + 6*3600})
			p.sensor.levels = append(p.sensor.levels, levelStep{31, -300})
		}},
	}
}

// restartAt lets the board start again after so many seconds of silence, with a
// level that stands for metres of height.
func (p *plan) restartAt(t, silence, metres float64) {
	p.board.reboots = append(p.board.reboots, reboot{t, silence})
	p.sensor.levels = append(p.sensor.levels, levelStep{t, -metres * p.air.paPerM()})
}

// stand keeps it on the pad for so many seconds.
func (p *plan) stand(path *truePath, s float64) {
	path.reset()
	p.liftoff, p.end = math.Inf(1), s
	p.arrange(path, -1)
	p.board.armAt = math.Inf(1)
}
