package model

import (
	"errors"
	"fmt"
	"math"

	"padlark/flight/atmos"
)

// Rocket is one airframe. SI units; a zero means "use the default" only where
// the comment says so.
type Rocket struct {
	// Volume is what the bottle holds, in m3. 0 with a Motor.
	Volume float64
	// Nozzle is the bore of the mouth, in m.
	Nozzle float64
	// Discharge is the fraction of the nozzle's area that the jet fills; 0
	// means 1, a well rounded bottle neck.
	Discharge float64
	// TubeLength and Tube are length and outer diameter of the launch tube, in
	// m; both 0 without one.
	TubeLength, Tube float64
	// Polytropic is n in p V^n = constant for the air in the bottle, from 1
	// (isothermal) to 1.4 (adiabatic); 0 means 1.4.
	Polytropic float64
	// Film is the fraction of the water that stays in the bottle.
	Film float64
	// Dry is the mass in kg without water, air and motor.
	Dry float64
	// Diameter (m) and Cd give the drag of the body, Cd on the frontal area.
	Diameter, Cd float64
	// Parachute is the nominal (constructed) diameter of the canopy, in m; 0
	// for none. ParachuteCd is on that area; 0 means the usual (flight.UsualParachuteCd).
	Parachute, ParachuteCd float64
	// Fill is how many diameters of air the canopy must meet to fill; 0 means
	// 8, a flat circular canopy (Knacke, NWC TP 6575; from memory).
	Fill float64
	// Release says when the parachute opens.
	Release Release
	// Motor replaces bottle and water by a thrust curve. Nil for a water rocket.
	Motor *Motor
}

// Release says when the parachute is let out. The zero value: never.
type Release struct {
	How ReleaseHow
	// Seconds is the delay after apogee (negative: before the apogee that would
	// have been), or the time after liftoff.
	Seconds float64
}

// ReleaseHow is what a release waits for.
type ReleaseHow int

// What a release waits for.
const (
	NoRelease ReleaseHow = iota
	AfterApogee
	AfterLiftoff
)

// Motor is a small solid motor as its published thrust curve gives it.
type Motor struct {
	// Curve is in order of time, from ignition; straight lines between.
	Curve []Thrust
	// Propellant and Total are the masses in kg, Total with the propellant.
	Propellant, Total float64
}

// Thrust is one point of a thrust curve: seconds after ignition, newtons.
type Thrust struct{ T, N float64 }

// Launch is one way to fly a Rocket.
type Launch struct {
	// Water is the mass of water in kg. If it is 0, Fraction of the volume is
	// filled.
	Water, Fraction float64
	// Gauge is the pressure above the surrounding air, in Pa.
	Gauge float64
	// WaterTemperature in K is also that of the air in the bottle; 0 means that
	// of the surrounding air.
	WaterTemperature float64
	// WaterDensity in kg/m3; 0 means that of pure water at its temperature.
	WaterDensity float64
	// Rail is the guided length in m, Tilt its angle from the vertical in rad.
	// The tilt is towards positive drift.
	Rail, Tilt float64
	// Wind in m/s, positive towards positive drift, measured WindHeight above
	// the ground (0 means 2 m). It grows as (height/WindHeight)^Shear: 0 for
	// the same wind at all heights, 1/7 is common practice for open ground.
	// Below WindHeight it is taken as constant.
	Wind, WindHeight, Shear float64
	// Gravity in m/s2; 0 means the standard 9.80665.
	Gravity float64
	Air     Air
}

// Air is the air at the pad.
type Air struct {
	// Elevation in m above mean sea level.
	Elevation float64
	// Temperature in K; 0 means the standard temperature at the elevation.
	Temperature float64
	// Pressure in Pa at the pad (not reduced to sea level); 0 means the
	// standard pressure at the elevation.
	Pressure float64
	// Humidity is relative, 0 to 1.
	Humidity float64
}

// field is one number of the input with its limits.
type field struct {
	name   string
	value  float64
	lo, hi float64
	unit   string
}

func (f field) check() error {
	if math.IsNaN(f.value) || f.value < f.lo || f.value > f.hi {
		return fmt.Errorf("%s is %g %s: give a value from %g to %g %s", f.name, f.value, f.unit, f.lo, f.hi, f.unit)
	}
	return nil
}

// Validate reports the first quantity that is out of the range for which this
// model is meant, with the range. Zero values that stand for a default pass.
func (r Rocket) Validate() error {
	fields := []field{
		{"dry mass", r.Dry, 1e-3, 50, "kg"},
		{"body diameter", r.Diameter, 0, 1, "m"},
		{"drag coefficient", r.Cd, 0, 5, ""},
		{"parachute diameter", r.Parachute, 0, 10, "m"},
		{"parachute drag coefficient", r.ParachuteCd, 0, 3, ""},
		{"canopy filling distance", r.Fill, 0, 100, "diameters"},
		{"water film", r.Film, 0, 0.5, ""},
		{"release time", r.Release.Seconds, -600, 600, "s"},
	}
	if r.Motor == nil {
		fields = append(fields,
			field{"bottle volume", r.Volume, 1e-5, 0.1, "m3"},
			field{"nozzle diameter", r.Nozzle, 1e-3, 0.1, "m"},
			field{"discharge coefficient", r.Discharge, 0, 1, ""},
			field{"launch tube length", r.TubeLength, 0, 3, "m"},
			field{"launch tube diameter", r.Tube, 0, 0.1, "m"})
	}
	for _, f := range fields {
		if err := f.check(); err != nil {
			return err
		}
	}
	if r.Polytropic != 0 && (r.Polytropic < 1 || r.Polytropic > 1.4) {
		return fmt.Errorf("polytropic exponent is %g: give 1 (isothermal) to 1.4 (adiabatic)", r.Polytropic)
	}
	if r.Release.How == AfterLiftoff && r.Release.Seconds < 0 {
		return fmt.Errorf("release time after liftoff is %g s: give 0 or more", r.Release.Seconds)
	}
	if r.Motor != nil {
		return r.Motor.validate()
	}
	if (r.TubeLength > 0) != (r.Tube > 0) {
		return errors.New("launch tube needs both a length and a diameter: give both or neither")
	}
	if r.Tube > r.Nozzle {
		return fmt.Errorf("launch tube of %g mm does not pass the nozzle of %g mm: check both diameters", r.Tube*1e3, r.Nozzle*1e3)
	}
	return nil
}

func (m *Motor) validate() error {
	if len(m.Curve) < 2 || len(m.Curve) > 1000 {
		return fmt.Errorf("thrust curve has %d points: give 2 to 1000", len(m.Curve))
	}
	var impulse float64
	for i, p := range m.Curve {
		if math.IsNaN(p.T) || math.IsNaN(p.N) || p.T < 0 || p.T > 60 || p.N < 0 || p.N > 1e4 {
			return fmt.Errorf("thrust curve point %d is (%g s, %g N): give 0 to 60 s and 0 to 10000 N", i+1, p.T, p.N)
		}
		if i == 0 {
			continue
		}
		if p.T <= m.Curve[i-1].T {
			return fmt.Errorf("thrust curve point %d is at %g s, not after %g s: give the points in order of time", i+1, p.T, m.Curve[i-1].T)
		}
		impulse += (p.T - m.Curve[i-1].T) * (p.N + m.Curve[i-1].N) / 2
	}
	if impulse <= 0 {
		return errors.New("thrust curve has no impulse: give the thrust in newtons")
	}
	if !(m.Propellant > 0 && m.Total >= m.Propellant && m.Total < 50) {
		return fmt.Errorf("motor masses are %g kg of propellant in %g kg: give both in kg, the total with the propellant", m.Propellant, m.Total)
	}
	return nil
}

// Validate is the same for a launch. A launch of a motor needs no water and no
// pressure.
func (l Launch) Validate() error {
	for _, f := range []field{
		{"water", l.Water, 0, 100, "kg"},
		{"water fraction", l.Fraction, 0, 1, ""},
		{"gauge pressure", l.Gauge, 0, 3e6, "Pa"},
		{"rail length", l.Rail, 0, 20, "m"},
		{"rail tilt", l.Tilt, -math.Pi / 3, math.Pi / 3, "rad"},
		{"wind", l.Wind, -40, 40, "m/s"},
		{"height of the wind reading", l.WindHeight, 0, 100, "m"},
		{"wind shear exponent", l.Shear, 0, 1, ""},
		{"site elevation", l.Air.Elevation, -500, 6000, "m"},
		{"humidity", l.Air.Humidity, 0, 1, ""},
	} {
		if err := f.check(); err != nil {
			return err
		}
	}
	for _, f := range []field{
		{"water temperature", l.WaterTemperature, atmos.ZeroC, atmos.ZeroC + 60, "K"},
		{"water density", l.WaterDensity, 900, 1300, "kg/m3"},
		{"gravity", l.Gravity, 9, 10, "m/s2"},
		{"air temperature", l.Air.Temperature, 223.15, 333.15, "K"},
		{"air pressure", l.Air.Pressure, 4e4, 1.2e5, "Pa"},
	} {
		if f.value == 0 {
			continue
		}
		if err := f.check(); err != nil {
			return err
		}
	}
	return nil
}

// waterDensity is that of pure water at one atmosphere in kg/m3 for a
// temperature in K from 0 to 60 degrees Celsius, to about 0.1 kg/m3. The
// formula is the short form by Tilton and Taylor (1937), from memory.
func waterDensity(k float64) float64 {
	t := k - atmos.ZeroC
	return 1000 * (1 - (t+288.9414)/(508929.2*(t+68.12963))*(t-3.9863)*(t-3.9863))
}
