package ensemble

import (
	"fmt"
	"math"

	"padlark/decode"
)

// Case is one thing that recorded flights of real boards contain, as a flight
// with known truth.
type Case struct {
	Name string
	Says string // what the samples do
	spec func() Spec
	// plan changes how the flight is made, given how it would have gone; nil
	// for nothing.
	plan func(*plan, *truePath)
	// after changes the samples; nil for nothing.
	after func(*Flight)
}

// Cases are all named cases of the ordinary world; RoughCases are those of the rough one.
func Cases() []Case {
	return append(append(cases(), timingCases()...), logCases()...)
}

// CaseNamed finds a case by its name.
func CaseNamed(name string) (Case, error) {
	for _, c := range append(Cases(), RoughCases()...) {
		if c.Name == name {
			return c, nil
		}
	}
	return Case{}, fmt.Errorf("find case %q: there is none of that name; Cases and RoughCases list them", name)
}

// Draw makes the case's flight of this seed.
func (c Case) Draw(seed uint64) (Flight, error) {
	var f Flight
	f.path = &truePath{}
	spec := steady()
	if c.spec != nil {
		spec = c.spec()
	}
	spec.Name = c.Name
	p, err := drawPlan(spec, seed, 0, f.path)
	if err != nil {
		return f, fmt.Errorf("draw case %s: %w", c.Name, err)
	}
	if c.plan != nil {
		c.plan(p, f.path)
	}
	f.render(p)
	if c.after != nil {
		c.after(&f)
	}
	return f, nil
}

// steady is the spec behind most cases: 50 Hz, 0.25 m, flights of 50 to 120 m.
func steady() Spec {
	s := Nominal50()
	s.WaterM = Range{50, 120}
	s.ReleaseLagS = Range{0.1, 0.3}
	s.BumpM = Fixed(0)
	return s
}

// cases are those of the pressure.
func cases() []Case {
	return []Case{
		{Name: "launch-dip", Says: "reads 30 to 50 m below the pad for the first second", after: launchDip},
		{Name: "speed-dip", Says: "reads hundreds of metres low at high speed", spec: fastSolid, plan: speedDip},
		{Name: "lone-outlier", Says: "one sample 344 m off while lying on the ground", after: func(f *Flight) {
			f.shift(f.Truth.TouchdownS+3, 1, 344)
		}},
		{Name: "nose-bump", Says: "two samples 30 m high just after apogee, when the nose comes off", after: func(f *Flight) {
			f.shift(f.Truth.ReleaseS, 2, 30)
		}},
		{Name: "raw-maximum", Says: "one reading a second before the apogee is the highest of all, 25 m above the top", after: func(f *Flight) {
			at := f.Truth.ApogeeS - 1
			f.shift(at, 1, 25+f.Truth.ApogeeM-f.Truth.HeightM(at))
		}},
		{Name: "touchdown-spikes", Says: "two samples 146 m low at touchdown", after: func(f *Flight) {
			f.shift(f.Truth.TouchdownS, 1, -146)
			f.shift(f.Truth.TouchdownS+0.1, 1, -146)
		}},
		{Name: "below-sea", Says: "a pad pressure that means 105 m below the sea", spec: func() Spec {
			s := steady()
			s.ElevationM = Range{0, 40}
			return s
		}, plan: func(p *plan, _ *truePath) { p.air.padPa = standardPa(-105); p.sensor.biasPa = 0 }},
		{Name: "lower-after-landing", Says: "rests 10 m lower after the landing than before the launch", plan: func(p *plan, _ *truePath) {
			p.sensor.landedPa = 10 * p.air.paPerM()
		}},
		{Name: "coarse-steps", Says: "10 Pa steps at 11 Hz", spec: func() Spec {
			s := steady()
			s.RateHz, s.StepPa = []float64{11}, []float64{10}
			return s
		}},
	}
}

// timingCases are those of time stamps and gaps.
func timingCases() []Case {
	return []Case{
		{Name: "gaps", Says: "gaps of 0.1 to 0.9 s and bursts of five missing, in every phase", plan: gaps},
		{Name: "hold", Says: "a 36 Hz sensor repeated on a 100 Hz grid", spec: func() Spec {
			s := steady()
			s.RateHz = []float64{100}
			return s
		}, plan: func(p *plan, _ *truePath) { p.board.hold = 36 }},
		{Name: "same-stamp", Says: "every tenth sample has the time stamp of the one before", after: func(f *Flight) {
			for i := 10; i < len(f.Samples); i += 10 {
				f.Samples[i].At, f.Samples[i].Clock = f.Samples[i-1].At, f.Samples[i-1].Clock
			}
		}},
	}
}

// logCases are those of when a recording begins and ends.
func logCases() []Case {
	return []Case{
		{Name: "no-pad", Says: "begins at liftoff", after: func(f *Flight) {
			f.cut(f.Truth.LiftoffS, math.Inf(1))
		}},
		{Name: "ends-ballistic", Says: "222 m high, falls without a parachute for 11 s, ends while it falls", spec: tumbler, plan: tumble, after: func(f *Flight) {
			f.cut(math.Inf(-1), f.Truth.TouchdownS-1.5)
		}},
		{Name: "ends-early", Says: "ends half way down under the parachute", after: func(f *Flight) {
			f.cut(math.Inf(-1), (f.Truth.OpenS+f.Truth.TouchdownS)/2)
		}},
		{Name: "long-wait", Says: "waits ten minutes on the pad", spec: func() Spec {
			s := steady()
			s.PadS = Fixed(600)
			return s
		}},
	}
}

// launchDip pins the first second after liftoff to a height below the pad.
func launchDip(f *Flight) {
	rng := stream(f.Seed, f.Index, forFault)
	depth := Range{30, 50}.draw(rng)
	for i := range f.Samples {
		if s := f.trueS(i); s >= f.Truth.LiftoffS && s < f.Truth.LiftoffS+1 {
			f.Samples[i].Values.Values[0] = round(f.plan.air.pressure(-depth)+3*rng.NormFloat64(), 0.1)
		}
	}
}

func fastSolid() Spec {
	s := steady()
	s.SolidShare, s.SolidM = 1, Range{900, 1300}
	return s
}

// speedDip gives the vent an error that reads 200 to 400 m low at the fastest.
func speedDip(p *plan, path *truePath) {
	deep := Range{200, 400}.draw(stream(p.seed, p.index, forFault))
	var most float64
	for _, q := range path.points {
		most = max(most, p.air.density(q.Height)*q.Air*q.Air/2)
	}
	p.sensor.portCp = deep * p.air.paPerM() / most
}

func gaps(p *plan, path *truePath) {
	m := path.marks
	burst := 5 / p.board.rate
	for _, g := range []span{
		{1, 0.1}, {3, 0.9}, {5, burst},
		{p.liftoff + m.burnout + 0.3, burst},
		{p.liftoff + m.apogee - 0.9, 0.25}, {p.liftoff + m.apogee + 0.5, 0.4}, {p.liftoff + m.apogee + 1.5, burst},
		{p.liftoff + m.touchdown - 1.5, 0.9}, {p.liftoff + m.touchdown + 1, 0.6},
	} {
		p.radio.gaps = append(p.radio.gaps, span{g.from, g.from + g.to})
	}
}

// tumbler is a light rocket that reaches 222 m.
func tumbler() Spec {
	s := steady()
	s.Parametric = true
	s.WaterM = Fixed(222)
	s.TiltDeg = Fixed(0)
	s.ReleaseLagS = Fixed(0)
	return s
}

// tumbleMps is the terminal speed at which 222 m take 11 s from rest: by
// t = (vt/g) arcosh(exp(g h / vt^2)), the closed form of a fall with quadratic
// drag.
const tumbleMps = 23.7

// tumble lets the rocket come down sideways on, with nothing released.
func tumble(p *plan, path *truePath) {
	c := p.craft.(parametric)
	m := &c.motion
	m.chuteA = 2*m.mass*g0/(m.air.padDensity()*tumbleMps*tumbleMps) - m.dragA
	m.fillS = 0.3
	p.craft = c
	p.outing = after(0)
	// The spec was flown once already with the same craft: it cannot fail.
	_ = p.fly(path)
	path.marks.release, path.marks.open = math.NaN(), math.NaN()
	p.arrange(path, -1)
	p.sensor.bumps = nil
}

// trueS is when sample i was measured, by its time stamp, in s since the Epoch.
func (f *Flight) trueS(i int) float64 { return f.S(f.Samples[i].At) }

// shift moves the readings of n samples from time s on by metres of height.
func (f *Flight) shift(s float64, n int, metres float64) {
	for i := range f.Samples {
		if n == 0 || f.trueS(i) <= s {
			continue
		}
		v := f.Samples[i].Values.Values
		h := f.plan.air.height(v[0])
		v[0] = round(f.plan.air.pressure(h+metres), f.plan.sensor.stepPa)
		n--
	}
}

// cut keeps the samples in between.
func (f *Flight) cut(from, to float64) {
	var kept []decode.Sample
	for i := range f.Samples {
		if s := f.trueS(i); s >= from && s <= to {
			kept = append(kept, f.Samples[i])
		}
	}
	for i := range kept {
		kept[i].N = uint64(i + 1)
	}
	f.Samples = kept
	f.EndS = min(f.EndS, to)
}
