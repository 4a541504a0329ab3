package model

import (
	"fmt"
	"math"

	"padlark/flight"
	"padlark/flight/atmos"
)

// newSetup derives the constants of a flight and checks that it can begin.
func newSetup(r Rocket, l Launch, id ideal) (*setup, error) {
	if err := r.Validate(); err != nil {
		return nil, fmt.Errorf("check rocket: %w", err)
	}
	if err := l.Validate(); err != nil {
		return nil, fmt.Errorf("check launch: %w", err)
	}
	s := &setup{r: r, l: l, ideal: id}
	s.surroundings()
	s.shape()
	if r.Motor != nil {
		return s, s.loadMotor()
	}
	return s, s.loadBottle()
}

// surroundings sets air, gravity and wind.
func (s *setup) surroundings() {
	s.g = s.l.Gravity
	if s.g == 0 {
		s.g = atmos.StandardGravity
	}
	std := atmos.At(atmos.Geopotential(s.l.Air.Elevation))
	temp, p := s.l.Air.Temperature, s.l.Air.Pressure
	if temp == 0 {
		temp = std.Temperature
	}
	if p == 0 {
		p = std.Pressure
	}
	s.l.Air.Temperature, s.l.Air.Pressure = temp, p
	s.pa = p
	virtual := atmos.VirtualTemperature(temp, p, s.l.Air.Humidity)
	s.rho0 = p / (atmos.GasConstant * virtual)
	s.lapseK = atmos.Lapse / virtual
	s.rhoPower = s.g/(atmos.GasConstant*atmos.Lapse) - 1
	if s.ideal.noGravity {
		s.g = 0
	}
	s.windH = s.l.WindHeight
	if s.windH == 0 {
		s.windH = 2
	}
}

// shape sets tilt, guide and drag areas.
func (s *setup) shape() {
	s.sin, s.cos = math.Sincos(s.l.Tilt)
	s.guided = math.Max(s.l.Rail, s.r.TubeLength)
	if s.guided < 1e-3 {
		s.guided = 0 // guides nothing
	}
	s.bodyArea = s.r.Cd * math.Pi / 4 * s.r.Diameter * s.r.Diameter
	cd, fill := s.r.ParachuteCd, s.r.Fill
	if cd == 0 {
		cd = flight.UsualParachuteCd
	}
	if fill == 0 {
		fill = 8
	}
	s.canopyArea = cd * math.Pi / 4 * s.r.Parachute * s.r.Parachute
	s.fillM = fill * s.r.Parachute
	if s.ideal.noDrag {
		s.rho0 = 0
	}
}

// loadBottle fills the bottle of a water rocket.
func (s *setup) loadBottle() error {
	r, l := s.r, s.l
	s.n = r.Polytropic
	if s.n == 0 {
		s.n = gasK
	}
	discharge := r.Discharge
	if discharge == 0 {
		discharge = 1
	}
	s.t0 = l.WaterTemperature
	if s.t0 == 0 {
		s.t0 = l.Air.Temperature
	}
	s.rhoWater = l.WaterDensity
	if s.rhoWater == 0 {
		s.rhoWater = waterDensity(math.Max(s.t0, atmos.ZeroC))
	}
	s.water = l.Water
	if s.water == 0 {
		s.water = l.Fraction * r.Volume * s.rhoWater
	}
	if v := s.water / s.rhoWater; v > 0.98*r.Volume {
		return fmt.Errorf("fill bottle: %.0f mL of water leave no room for air in %.0f mL: use less water", v*1e6, r.Volume*1e6)
	}
	if l.Gauge < 1e3 {
		return fmt.Errorf("fill bottle: gauge pressure is %g Pa: give at least 1000 Pa (0.01 bar)", l.Gauge)
	}
	s.film = r.Film * s.water
	s.jetArea = discharge * math.Pi / 4 * r.Nozzle * r.Nozzle
	s.tubeArea = math.Pi / 4 * r.Tube * r.Tube
	s.gas0 = r.Volume - s.water/s.rhoWater
	s.gasEnd = r.Volume - s.film/s.rhoWater
	s.p0 = s.pa + l.Gauge
	// The bore of the tube is full of air as well: the rocket leaves it with
	// the gas spread over the bottle and the bore.
	s.pTube = s.p0 * math.Pow(s.gas0/(s.gas0+s.tubeArea*r.TubeLength), s.n)
	tTube := s.t0 * math.Pow(s.pTube/s.p0, 1-1/s.n)
	inBottle := s.pTube * s.gas0 / (gasR * tTube)
	s.p1 = s.bottle(s.gasEnd)
	s.t1 = s.p1 * s.gasEnd / (gasR * inBottle)
	s.m1 = inBottle
	if !s.ideal.noGasMass {
		s.gasMass = inBottle
	}
	push, area := 2*s.jetArea, "nozzle"
	if s.tubeArea > 0 {
		push, area = s.tubeArea, "launch tube"
	}
	thrust, weight := push*l.Gauge, (r.Dry+s.water+s.gasMass)*s.holdBack()
	if s.water == 0 && s.tubeArea == 0 {
		_, thrust = airJet(s.p0, s.t0, s.pa, s.jetArea)
	}
	if thrust <= weight {
		return fmt.Errorf("leave the pad: thrust at the %s is %.2f N but the rocket weighs %.2f N", area, thrust, weight)
	}
	return nil
}

// loadMotor sums the thrust curve and finds when it lifts the rocket.
func (s *setup) loadMotor() error {
	m := s.r.Motor
	s.casing = m.Total - m.Propellant
	s.impulse = make([]float64, len(m.Curve))
	for i := 1; i < len(m.Curve); i++ {
		a, b := m.Curve[i-1], m.Curve[i]
		s.impulse[i] = s.impulse[i-1] + (b.T-a.T)*(a.N+b.N)/2
	}
	var most float64
	for i := 0; i+1 < len(m.Curve); i++ {
		a, b := m.Curve[i], m.Curve[i+1]
		// The mass changes so little before liftoff that the weight at the ends
		// of a piece brackets the root; bisection finds it.
		if s.lift(i, b.T) <= 0 {
			most = math.Max(most, b.N)
			continue
		}
		lo, hi := a.T, b.T
		if s.lift(i, lo) > 0 {
			hi = lo
		}
		for range 60 {
			mid := (lo + hi) / 2
			if s.lift(i, mid) > 0 {
				hi = mid
			} else {
				lo = mid
			}
		}
		s.motorLead = hi
		return nil
	}
	return fmt.Errorf("leave the pad: the motor gives at most %.2f N but the rocket weighs %.2f N", most, (s.r.Dry+m.Total)*s.holdBack())
}

// lift is thrust minus what it must overcome, t seconds after ignition.
func (s *setup) lift(knot int, t float64) float64 {
	thrust, mass := s.motorAt(knot, t)
	return thrust - mass*s.holdBack()
}

// holdBack is the thrust per kg that lifts the rocket: on a rail the weight
// along it; without one the upward part of the thrust must carry the weight.
func (s *setup) holdBack() float64 {
	if s.guided > 0 {
		return s.g * s.cos
	}
	return s.g / s.cos
}
