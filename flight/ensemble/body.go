package ensemble

import (
	"math"
	"math/rand/v2"

	"padlark/flight/model"
)

// body is a drawn airframe with the launch that should bring it to a height.
type body struct {
	solid     bool
	dry       float64 // kg at landing
	diameter  float64 // m
	cd        float64
	sink      float64 // m/s under the parachute
	chute     float64 // m
	speed     float64 // at burnout, that should reach the aim, m/s
	boostS    float64 // for the parametric boost
	front     float64
	volume    float64 // m3
	nozzle    float64 // m
	fraction  float64 // of water
	discharge float64
	gauge     float64 // Pa
	railM     float64
}

// drawBody draws an airframe that can reach aim metres: not so light that its
// drag would ask for an absurd speed.
func drawBody(p *plan, spec Spec, aim float64, rng *rand.Rand) body {
	b := body{solid: p.rocket.Kind == "solid", sink: p.sinkMps}
	rho := p.air.padDensity()
	lo, hi := 0.12, 0.35
	if b.solid {
		b.diameter, b.cd = Range{0.025, 0.06}.draw(rng), Range{0.4, 0.6}.draw(rng)
		lo, hi = 0.07, 0.25
	} else {
		b.diameter, b.cd = Range{0.063, 0.11}.draw(rng), Range{0.3, 0.55}.draw(rng)
	}
	b.dry = Range{lo, hi}.draw(rng)
	b.known(spec, rho, aim, rng)
	area := b.cd * math.Pi / 4 * b.diameter * b.diameter
	vt2 := 2 * b.dry * g0 / (rho * area)
	b.speed = math.Sqrt(vt2 * math.Expm1(2*g0*aim/vt2))
	b.chute = math.Sqrt(8 * b.dry * g0 / (math.Pi * rho * chuteCd * b.sink * b.sink))
	if b.solid {
		b.boostS, b.front = Range{0.4, 1.8}.draw(rng), Range{1, 1.6}.draw(rng)
		b.railM = 1
		b.boostS = min(b.boostS, aim/b.speed) // the boost is not the flight
		return b
	}
	b.boostS, b.front = Range{0.1, 0.3}.draw(rng), Range{0.8, 1.2}.draw(rng)
	b.boostS = min(b.boostS, 0.6*aim/b.speed)
	b.railM = Range{0.1, 0.5}.draw(rng)
	b.drawBottle(p, rng)
	return b
}

// dragMost keeps the burnout speed below 1.8 times the terminal speed vt: it
// is the most that 2 g h / vt^2 may be.
const dragMost = 1.4

// known puts in what the spec says of the rocket, and suits what it does not
// say to the apogee.
func (b *body) known(spec Spec, rho, aim float64, rng *rand.Rand) {
	if spec.Cd.Lo > 0 {
		b.cd = spec.Cd.draw(rng)
	}
	if spec.DiameterM.Lo > 0 {
		b.diameter = spec.DiameterM.draw(rng)
	}
	round := b.cd * math.Pi / 4 // drag area over the diameter's square
	if spec.MassKg.Lo == 0 {
		b.dry = max(b.dry, rho*round*b.diameter*b.diameter*aim/dragMost)
		return
	}
	b.dry = spec.MassKg.draw(rng)
	if spec.DiameterM.Lo == 0 {
		b.diameter = min(b.diameter, math.Sqrt(dragMost*b.dry/(rho*round*aim)))
	}
}

// drawBottle draws bottle and fill, the pressure for the speed, and a mouth
// through which the water leaves in the boost's time.
func (b *body) drawBottle(p *plan, rng *rand.Rand) {
	b.volume = Range{0.8e-3, 2e-3}.draw(rng) * max(1, b.dry/0.3)
	b.discharge = Range{0.9, 1}.draw(rng)
	b.fraction = Range{0.22, 0.38}.draw(rng)
	for range 12 {
		if b.gauge = b.gaugeFor(p.air.padPa); b.gauge < 1.2e6 {
			break
		}
		b.volume *= 1.25
	}
	jet := math.Sqrt(2 * 0.75 * b.gauge / 1000)
	area := b.volume * b.fraction / (jet * b.boostS * 0.9)
	b.nozzle = min(max(math.Sqrt(4*area/math.Pi), 0.004), 0.04)
}

// gaugeFor is the pressure at which the ideal impulse gives the speed: the
// impulse of an adiabatic water jet over the mean mass. It is a first guess;
// the flight corrects it.
func (b *body) gaugeFor(pa float64) float64 {
	water := 1000 * b.volume * b.fraction
	need := b.speed * (b.dry + 0.45*water) / 1.08
	lo, hi := 2e4, 2.4e6
	for range 24 {
		mid := math.Sqrt(lo * hi)
		if b.impulse(mid, pa) < need {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo
}

// impulse in N s of the water jet, by the midpoint rule over the volume.
func (b *body) impulse(gauge, pa float64) float64 {
	v0 := b.volume * (1 - b.fraction)
	const n = 6
	dv := (b.volume - v0) / n
	var sum float64
	for i := range n {
		v := v0 + (float64(i)+0.5)*dv
		over := (pa+gauge)*math.Pow(v0/v, 1.4) - pa
		if over > 0 {
			sum += math.Sqrt(2000*over) * dv
		}
	}
	return sum
}

// craft is the airframe with the thrust scaled by push.
func (b *body) craft(p *plan, spec Spec, push float64) craft {
	tilt := p.tiltDeg * math.Pi / 180
	if p.hard != nil || spec.Parametric {
		m := motion{
			air: p.air, mass: b.dry, dragA: b.cd * math.Pi / 4 * b.diameter * b.diameter,
			boostS: b.boostS, boostV: (b.speed + g0*b.boostS) * push, front: b.front, tilt: tilt,
			railM: b.railM, wind: p.site.WindMps, release: math.Inf(1),
			chuteA: chuteCd * math.Pi / 4 * b.chute * b.chute, fillS: 0.25,
		}
		if p.hard != nil {
			if p.hard.contrary.power != 0 {
				m.curve = p.hard.contrary.thrust
			}
			return roughCraft{motion: m, hard: p.hard, chuteM: b.chute}
		}
		return parametric{m}
	}
	r := model.Rocket{
		Dry: b.dry, Diameter: b.diameter, Cd: b.cd, Parachute: b.chute, ParachuteCd: chuteCd,
	}
	l := model.Launch{
		Rail: b.railM, Tilt: tilt, Wind: p.site.WindMps, Shear: 1.0 / 7,
		Air: model.Air{Elevation: *p.site.ElevationM, Temperature: p.air.padK, Pressure: p.air.padPa},
	}
	if b.solid {
		r.Motor = b.motor(push)
		r.Dry = max(b.dry-(r.Motor.Total-r.Motor.Propellant), 0.4*b.dry)
		return physical{r, l, p.air}
	}
	r.Volume, r.Nozzle, r.Discharge = b.volume, b.nozzle, b.discharge
	l.Fraction, l.Gauge = b.fraction, min(max(b.gauge*push, 2e4), 2.9e6)
	l.WaterTemperature = max(p.air.padK, zeroC+2)
	return physical{r, l, p.air}
}

// motor is a thrust curve with an early peak, of the impulse that the speed
// asks for. Specific impulse 1700 m/s, casing as heavy as the propellant
// (common practice, no source).
func (b *body) motor(push float64) *model.Motor {
	impulse := (b.speed + g0*b.boostS) * b.dry * push * 1.05
	mean := impulse / b.boostS
	peak := mean * b.front * 1.4
	t := b.boostS
	curve := []model.Thrust{{T: 0, N: 0.2 * mean}, {T: 0.08 * t, N: peak}, {T: 0.25 * t, N: mean}, {T: 0.85 * t, N: 0.9 * mean}, {T: t, N: 0}}
	var got float64
	for i := 1; i < len(curve); i++ {
		got += (curve[i].T - curve[i-1].T) * (curve[i].N + curve[i-1].N) / 2
	}
	for i := range curve {
		curve[i].N *= impulse / got
	}
	propellant := impulse / 1700
	return &model.Motor{Curve: curve, Propellant: propellant, Total: 2 * propellant}
}

// describe fills in what the builder would have written down.
func (b *body) describe(p *plan) {
	if p.hard != nil && !p.hard.described {
		return
	}
	p.rocket.ParachuteM = round(b.chute, 0.001)
	p.rocket.MassKg = round(b.dry, 0.001)
	p.rocket.DiameterM = round(b.diameter, 0.001)
	p.rocket.Cd = round(b.cd, 0.01)
}
