package predict

import (
	"fmt"
	"math"
	"math/rand/v2"

	"padlark/flight"
	"padlark/flight/atmos"
	"padlark/flight/model"
)

// Spread says how far the inputs may be off, as standard deviations: ...Part as
// a part of the value, the others in SI units. Draws stop at three of them.
type Spread struct {
	GaugePart    float64 // reading of the pump's gauge
	WaterPart    float64
	DryPart      float64
	NozzlePart   float64 // diameter
	CdPart       float64
	CanopyCdPart float64
	ImpulsePart  float64 // of a motor
	WindPart     float64 // from one minute to the next
	TiltRad      float64 // of the rail and of how the rocket leaves it
	ReleaseS     float64 // of the release
	TemperatureK float64 // of air and water
	// PolytropicMax is the half-width of the exponent, which is drawn evenly
	// about the one given: so far as 1 and 1.4 are away, at the most.
	PolytropicMax float64
}

// DefaultSpread is what a careful builder can do with a kitchen scale, a
// measuring cup and a bicycle pump. Common practice, no source; for the exponent
// see model.Rocket: measured expansions lie between isothermal and adiabatic.
func DefaultSpread() Spread {
	return Spread{
		GaugePart: 0.03, WaterPart: 0.03, DryPart: 0.02, NozzlePart: 0.01, CdPart: 0.15, CanopyCdPart: 0.10,
		ImpulsePart: 0.03, WindPart: 0.30, TiltRad: 2 * math.Pi / 180, ReleaseS: 0.15, TemperatureK: 2, PolytropicMax: 0.1,
	}
}

func (s Spread) validate() error {
	for _, f := range []struct {
		name string
		v    float64
		max  float64
	}{
		{"pressure", s.GaugePart, 0.3}, {"water", s.WaterPart, 0.3}, {"mass", s.DryPart, 0.3},
		{"nozzle", s.NozzlePart, 0.3}, {"drag coefficient", s.CdPart, 0.32},
		{"parachute drag coefficient", s.CanopyCdPart, 0.32}, {"impulse", s.ImpulsePart, 0.3},
		{"wind", s.WindPart, 1}, {"tilt", s.TiltRad, 0.3}, {"release", s.ReleaseS, 10},
		{"temperature", s.TemperatureK, 20}, {"exponent", s.PolytropicMax, 0.4},
	} {
		if !(f.v >= 0 && f.v <= f.max) {
			return fmt.Errorf("spread of the %s is %g: give 0 to %g", f.name, f.v, f.max)
		}
	}
	return nil
}

// dice draws inputs.
type dice struct{ r *rand.Rand }

// normal is a normal deviate within three standard deviations.
func (d dice) normal() float64 {
	for {
		if x := d.r.NormFloat64(); math.Abs(x) <= 3 {
			return x
		}
	}
}

// around is v with a relative standard deviation.
func (d dice) around(v, part float64) float64 { return v * (1 + part*d.normal()) }

// draw gives one rocket and launch from the input's spread. Every flight takes
// the same number of deviates, so that one spread can be changed without
// changing the draws of the others.
func (in *Input) draw(d dice) (model.Rocket, model.Launch) {
	r, l, s := in.Rocket, in.Launch, in.Spread
	l.Gauge = d.around(l.Gauge, s.GaugePart)
	water := 1 + s.WaterPart*d.normal()
	l.Water, l.Fraction = l.Water*water, math.Min(l.Fraction*water, 0.97)
	r.Dry = d.around(r.Dry, s.DryPart)
	bore := d.around(r.Nozzle, s.NozzlePart)
	r.Nozzle = math.Max(bore, r.Tube)
	r.Cd = d.around(r.Cd, s.CdPart)
	if r.ParachuteCd == 0 {
		r.ParachuteCd = flight.UsualParachuteCd
	}
	r.ParachuteCd = d.around(r.ParachuteCd, s.CanopyCdPart)
	impulse := 1 + s.ImpulsePart*d.normal()
	l.Wind = d.around(l.Wind, s.WindPart)
	l.Tilt += s.TiltRad * d.normal()
	late := s.ReleaseS * d.normal()
	if r.Release.How == model.AfterLiftoff {
		late = math.Max(late, -r.Release.Seconds)
	}
	r.Release.Seconds += late
	warmer := s.TemperatureK * d.normal()
	l.Air.Temperature += warmer
	l.WaterTemperature = math.Max(l.WaterTemperature+warmer, atmos.ZeroC)
	even := 2*d.r.Float64() - 1
	r.Polytropic += even * min(s.PolytropicMax, 1.4-r.Polytropic, r.Polytropic-1)
	if r.Motor != nil {
		m := *r.Motor
		m.Curve = make([]model.Thrust, len(r.Motor.Curve))
		for i, p := range r.Motor.Curve {
			m.Curve[i] = model.Thrust{T: p.T, N: p.N * impulse}
		}
		r.Motor = &m
	}
	return r, l
}
