package main

import (
	"errors"
	"fmt"
	"math"
	"os"

	"padlark/cmd/padlark/config"
	"padlark/flight"
	"padlark/flight/atmos"
	"padlark/flight/model"
	"padlark/flight/predict"
)

// input gathers what was typed and what is configured, and names the rocket.
func (c *predictCmd) input() (predict.Input, string, error) {
	rocket, site, err := c.configured()
	if err != nil {
		return predict.Input{}, "", err
	}
	in := predict.Of(rocket, site)
	in.Flights, in.Seed, in.Spread = c.Flights, c.Seed, c.spread()
	if c.Flights <= 0 {
		return in, "", fmt.Errorf("--flights %d: give 20 or more", c.Flights)
	}
	if err := c.body(&in); err != nil {
		return in, "", err
	}
	if c.Thrust != "" {
		err = c.motor(&in, rocket)
	} else {
		err = c.fill(&in)
	}
	if err != nil {
		return in, "", err
	}
	c.place(&in)
	return in, rocket.Name, nil
}

// configured reads rocket and site from the configuration; empty without one.
func (c *predictCmd) configured() (flight.Rocket, flight.Site, error) {
	path := c.Config
	if c.Rocket != "" {
		path = orHere(path)
	}
	if path == "" {
		if c.Rocket != "" {
			return flight.Rocket{}, flight.Site{}, errors.New("--rocket names a rocket of a configuration: add --config FILE")
		}
		return flight.Rocket{}, flight.Site{}, nil
	}
	cfg, err := config.Load(path)
	if err != nil {
		return flight.Rocket{}, flight.Site{}, err
	}
	if c.Rocket == "" {
		return flight.Rocket{}, cfg.Site, nil
	}
	r, err := namedRocket(cfg, path, c.Rocket)
	return r, cfg.Site, err
}

func (c *predictCmd) spread() predict.Spread {
	s := predict.DefaultSpread()
	s.GaugePart, s.WaterPart, s.DryPart = c.SDPressure/100, c.SDWater/100, c.SDDry/100
	s.NozzlePart, s.CdPart, s.CanopyCdPart = c.SDNozzle/100, c.SDCd/100, c.SDCanopy/100
	s.ImpulsePart, s.WindPart = c.SDImpulse/100, c.SDWind/100
	s.TiltRad, s.ReleaseS = c.SDTilt*math.Pi/180, c.SDRelease
	return s
}

// set puts what was typed, times scale, over what is configured.
func set(to *float64, scale float64, typed *float64) {
	if typed != nil {
		*to = *typed * scale
	}
}

// body sets what water rockets and motors have in common.
func (c *predictCmd) body(in *predict.Input) error {
	m := &in.Rocket
	set(&m.Dry, 1e-3, c.DryG)
	set(&m.Diameter, 1e-3, c.DiameterMm)
	set(&m.Cd, 1, c.Cd)
	set(&m.Parachute, 1e-3, c.ParachuteMm)
	set(&m.ParachuteCd, 1, c.ParachuteCd)
	switch {
	case m.Dry == 0 && c.DryG == nil:
		return errors.New("no mass: give --dry-g, the mass without water and motor in g")
	case m.Diameter == 0 && c.DiameterMm == nil:
		return errors.New("no diameter: give --diameter-mm, the greatest of the body in mm")
	}
	m.Release = model.Release{How: model.AfterApogee, Seconds: c.ReleaseS}
	if c.TimerS != nil {
		m.Release = model.Release{How: model.AfterLiftoff, Seconds: *c.TimerS}
	}
	return nil
}

// fill sets bottle, water and pressure.
func (c *predictCmd) fill(in *predict.Input) error {
	if c.PropellantG != nil || c.MotorG != nil {
		return errors.New("--propellant-g and --motor-g belong to a motor: add its curve with --thrust FILE")
	}
	m, l := &in.Rocket, &in.Launch
	set(&m.Volume, 1e-6, c.BottleMl)
	set(&m.Nozzle, 1e-3, c.NozzleMm)
	set(&m.Discharge, 1, c.Discharge)
	set(&in.Rating, 1e5, c.RatingBar)
	for _, need := range []struct {
		missing    bool
		name, what string
	}{
		{m.Volume == 0 && c.BottleMl == nil, "--bottle-ml", "what the bottle holds in mL"},
		{m.Nozzle == 0 && c.NozzleMm == nil, "--nozzle-mm", "the bore of its mouth in mm"},
		{c.WaterMl == nil, "--water-ml", "the water in mL"},
		{c.PressureBar == nil, "--pressure-bar", "the pressure above the air in bar"},
	} {
		if need.missing {
			return fmt.Errorf("%s is missing: %s (or --thrust FILE for a motor)", need.name, need.what)
		}
	}
	m.Tube, m.TubeLength = c.TubeMm*1e-3, c.TubeLengthMm*1e-3
	if c.Discharge != nil && *c.Discharge < leastDischarge {
		return fmt.Errorf("--discharge %g: give %g to 1, the part of the mouth that the jet fills", *c.Discharge, leastDischarge)
	}
	m.Polytropic, m.Film = c.Exponent, c.FilmPercent/100
	if m.Volume > 0 {
		l.Fraction = *c.WaterMl * 1e-6 / m.Volume
	}
	l.Gauge = *c.PressureBar * 1e5
	if c.WaterC != nil {
		l.WaterTemperature = *c.WaterC + atmos.ZeroC
	}
	return nil
}

// leastDischarge is below what any mouth has: a tube that reaches inside lets half
// of its area be filled (the re-entrant orifice of hydraulics; from memory).
const leastDischarge = 0.3

// motor reads the thrust curve.
func (c *predictCmd) motor(in *predict.Input, r flight.Rocket) error {
	if c.PropellantG == nil || c.MotorG == nil {
		return errors.New("a motor needs --propellant-g and --motor-g, both in g, the motor with its propellant")
	}
	f, err := os.Open(c.Thrust)
	if err != nil {
		return fmt.Errorf("read thrust curve: %w", err)
	}
	defer f.Close()
	curve, err := model.ReadThrust(f)
	if err != nil {
		return fmt.Errorf("read thrust curve %s: %w", c.Thrust, err)
	}
	in.Rocket.Motor = &model.Motor{Curve: curve, Propellant: *c.PropellantG * 1e-3, Total: *c.MotorG * 1e-3}
	if c.DryG == nil && r.MassKg > 0 {
		// The configured mass is that at landing: the empty motor is in it.
		in.Rocket.Dry -= in.Rocket.Motor.Total - in.Rocket.Motor.Propellant
	}
	return nil
}

// place sets pad, wind and air.
func (c *predictCmd) place(in *predict.Input) {
	l := &in.Launch
	l.Rail, l.Tilt = c.RailM, c.TiltDeg*math.Pi/180
	l.WindHeight, l.Shear = c.WindHeightM, c.WindShear
	set(&l.Wind, 1, c.WindMps)
	set(&l.Air.Elevation, 1, c.ElevationM)
	if c.TemperatureC != nil {
		l.Air.Temperature = *c.TemperatureC + atmos.ZeroC
	}
	set(&l.Air.Pressure, 100, c.AirHpa)
	set(&l.Air.Humidity, 0.01, c.HumidityPercent)
	set(&in.FieldRadius, 1, c.FieldM)
}
