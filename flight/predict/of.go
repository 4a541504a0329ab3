package predict

import (
	"padlark/flight"
	"padlark/flight/atmos"
	"padlark/flight/model"
)

// Where the configuration does not say: the drag coefficient of a finned body
// on its frontal area, and how long after apogee a servo has opened (common
// practice, no source).
const (
	usualCd       = 0.5
	usualReleaseS = 0.3
)

// Of is what the configuration says of a launch, with the usual spread; what it
// does not say stays zero. Fill, pressure, rail and motor are those of the
// launch and have to be added.
func Of(r flight.Rocket, s flight.Site) Input {
	in := Input{Spread: DefaultSpread(), Rating: r.RatingBar * 1e5, FieldRadius: s.FieldRadiusM}
	in.Rocket = model.Rocket{
		Dry: r.MassKg, Diameter: r.DiameterM, Cd: r.Cd, Volume: r.BottleL * 1e-3, Nozzle: r.NozzleM, Discharge: r.Discharge,
		Parachute: r.ParachuteM, ParachuteCd: r.ParachuteCd,
		Release: model.Release{How: model.AfterApogee, Seconds: usualReleaseS},
	}
	if r.Cd == 0 {
		in.Rocket.Cd = usualCd
	}
	l := &in.Launch
	l.Wind, l.WindHeight, l.Shear = s.WindMps, windHeightM, windShear
	if s.ElevationM != nil {
		l.Air.Elevation = *s.ElevationM
	}
	if s.TemperatureC != nil {
		l.Air.Temperature = *s.TemperatureC + atmos.ZeroC
	}
	if s.PressurePa != nil {
		l.Air.Pressure = *s.PressurePa
	}
	if s.Humidity != nil {
		l.Air.Humidity = *s.Humidity
	}
	return in
}

// The wind is measured at 2 m and grows with height to the power of one
// seventh, as over open ground (common practice, no source).
const (
	windHeightM = 2.0
	windShear   = 0.143
)
