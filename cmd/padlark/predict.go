package main

import (
	"context"
	"errors"
	"fmt"

	"padlark/flight"
	"padlark/flight/predict"
	"padlark/storage/report"
)

// predictCmd flies a launch in the model before anybody does. Numbers that were
// not typed come from the configuration, if one is named; what is in neither is
// asked for, never guessed, unless the help names a default.
type predictCmd struct {
	Config string `placeholder:"FILE" help:"Take rocket and site from this configuration."`
	Rocket string `placeholder:"NAME" help:"The rocket's name in the configuration."`

	BottleMl     *float64 `name:"bottle-ml" placeholder:"ML" group:"Rocket" help:"What the bottle holds, mL."`
	NozzleMm     *float64 `name:"nozzle-mm" placeholder:"MM" group:"Rocket" help:"Bore of the mouth, mm."`
	Discharge    *float64 `name:"discharge" placeholder:"X" group:"Rocket" help:"Part of the mouth that the jet fills: 1 for a rounded neck, about 0.6 for a sharp-edged hole (1)."`
	TubeMm       float64  `name:"tube-mm" placeholder:"MM" group:"Rocket" help:"Launch tube, outer diameter, mm."`
	TubeLengthMm float64  `name:"tube-length-mm" placeholder:"MM" group:"Rocket" help:"Launch tube, length inside the bottle, mm."`
	DryG         *float64 `name:"dry-g" placeholder:"G" group:"Rocket" help:"Mass without water and motor, with parachute and board, g."`
	DiameterMm   *float64 `name:"diameter-mm" placeholder:"MM" group:"Rocket" help:"Greatest diameter of the body, mm."`
	Cd           *float64 `name:"cd" placeholder:"X" group:"Rocket" help:"Drag coefficient on the frontal area (0.5)."`
	ParachuteMm  *float64 `name:"parachute-mm" placeholder:"MM" group:"Rocket" help:"Diameter of the parachute laid flat, mm."`
	ParachuteCd  *float64 `name:"parachute-cd" placeholder:"X" group:"Rocket" help:"Its drag coefficient on that area (0.75)."`
	ReleaseS     float64  `name:"release-s" placeholder:"S" default:"0.3" group:"Rocket" help:"Release this long after apogee, s (${default})."`
	TimerS       *float64 `name:"timer-s" placeholder:"S" group:"Rocket" help:"Release by a timer instead, s after liftoff."`

	WaterMl     *float64 `name:"water-ml" placeholder:"ML" group:"Fill" help:"Water, mL."`
	PressureBar *float64 `name:"pressure-bar" placeholder:"BAR" group:"Fill" help:"Pressure above the air, as the gauge shows it, bar."`
	RatingBar   *float64 `name:"rating-bar" placeholder:"BAR" group:"Fill" help:"Pressure that your bottle is rated for, bar. Needed; above it nothing is predicted."`
	WaterC      *float64 `name:"water-c" placeholder:"C" group:"Fill" help:"Water temperature, degrees Celsius (that of the air)."`
	Exponent    float64  `name:"exponent" placeholder:"X" default:"1.3" group:"Fill" help:"Expansion of the air, 1 isothermal to 1.4 adiabatic (${default}); drawn within 0.1 of it, and never beyond those two."`
	FilmPercent float64  `name:"film-percent" placeholder:"%" group:"Fill" help:"Water that stays in the bottle, percent (0)."`

	Thrust      string   `placeholder:"FILE" group:"Motor" help:"Thrust curve: lines of seconds,newtons. Replaces bottle and fill."`
	PropellantG *float64 `name:"propellant-g" placeholder:"G" group:"Motor" help:"Propellant, g."`
	MotorG      *float64 `name:"motor-g" placeholder:"G" group:"Motor" help:"Whole motor with propellant, g."`

	RailM           float64  `name:"rail-m" placeholder:"M" default:"0" group:"Field" help:"Guided length, m (0)."`
	TiltDeg         float64  `name:"tilt-deg" placeholder:"DEG" default:"0" group:"Field" help:"Tilt of the rail with the wind; against it negative, degrees."`
	WindMps         *float64 `name:"wind-mps" placeholder:"MPS" group:"Field" help:"Wind, m/s (0)."`
	WindHeightM     float64  `name:"wind-height-m" placeholder:"M" default:"2" group:"Field" help:"Height at which it was measured, m (${default})."`
	WindShear       float64  `name:"wind-shear" placeholder:"X" default:"0.143" group:"Field" help:"It grows as height to this power (${default}, open ground)."`
	ElevationM      *float64 `name:"elevation-m" placeholder:"M" group:"Field" help:"Elevation of the site above sea level, m (0)."`
	TemperatureC    *float64 `name:"temperature-c" placeholder:"C" group:"Field" help:"Air temperature, degrees Celsius (standard for the elevation)."`
	AirHpa          *float64 `name:"air-hpa" placeholder:"HPA" group:"Field" help:"Air pressure at the site, not reduced to sea level, hPa (standard)."`
	HumidityPercent *float64 `name:"humidity-percent" placeholder:"%" group:"Field" help:"Relative humidity, percent (0)."`
	FieldM          *float64 `name:"field-m" placeholder:"M" group:"Field" help:"Radius of clear ground around the pad, m."`

	SDPressure float64 `name:"sd-pressure-percent" placeholder:"%" default:"3" group:"Spread" help:"Pressure reading, percent (${default})."`
	SDWater    float64 `name:"sd-water-percent" placeholder:"%" default:"3" group:"Spread" help:"Water, percent (${default})."`
	SDDry      float64 `name:"sd-dry-percent" placeholder:"%" default:"2" group:"Spread" help:"Mass, percent (${default})."`
	SDNozzle   float64 `name:"sd-nozzle-percent" placeholder:"%" default:"1" group:"Spread" help:"Nozzle bore, percent (${default})."`
	SDCd       float64 `name:"sd-cd-percent" placeholder:"%" default:"15" group:"Spread" help:"Drag coefficient of the body, percent (${default})."`
	SDCanopy   float64 `name:"sd-parachute-percent" placeholder:"%" default:"10" group:"Spread" help:"Drag coefficient of the parachute, percent (${default})."`
	SDImpulse  float64 `name:"sd-impulse-percent" placeholder:"%" default:"3" group:"Spread" help:"Impulse of the motor, percent (${default})."`
	SDWind     float64 `name:"sd-wind-percent" placeholder:"%" default:"30" group:"Spread" help:"Wind, percent (${default})."`
	SDTilt     float64 `name:"sd-tilt-deg" placeholder:"DEG" default:"2" group:"Spread" help:"Tilt, degrees (${default})."`
	SDRelease  float64 `name:"sd-release-s" placeholder:"S" default:"0.15" group:"Spread" help:"Release, s (${default})."`

	Sweep string `placeholder:"KEY=FROM:TO" help:"Fly a range instead: water=200:1000 (mL) or pressure=2:5 (bar)."`
	Data  string `placeholder:"DIR" help:"With --sweep and --rocket: archive with own flights whose fill and pressure were noted."`

	Flights int    `default:"500" help:"How many flights are drawn (${default})."`
	Seed    uint64 `default:"1" help:"Seed of the draws: the same seed, the same result (${default})."`
	Plot    string `placeholder:"FILE" help:"Draw height over time with its spread into FILE.svg or FILE.png."`
	JSON    bool   `name:"json" help:"Print as JSON."`
}

// Help shows an example.
func (predictCmd) Help() string {
	return `Flies a launch in the model many times, with inputs drawn from their spread
(standard deviations), and prints what to expect with its uncertainty: apogee,
time to apogee for a backup timer, speeds, descent, drift, the field that is
needed. It recommends no pressure and predicts nothing above the rating of the
bottle that you type in. With --sweep it flies a range of fills with the same
draws at each: which is best, by how much, how sure that is, and what one's own
flights say of it.

Example:
  padlark predict --bottle-ml 2000 --water-ml 650 --pressure-bar 4
    --rating-bar 5 --nozzle-mm 21.7 --dry-g 150 --diameter-mm 90
    --parachute-mm 500 --wind-mps 3 --field-m 120 --plot teal.svg`
}

// Run predicts, draws and prints.
func (c *predictCmd) Run(ctx context.Context, io *cmdIO) error {
	if c.Sweep != "" {
		return c.sweep(ctx, io)
	}
	if err := report.CheckPlot(c.Plot); err != nil {
		return usageError{err}
	}
	in, name, err := c.input()
	if err != nil {
		return usageError{err}
	}
	res, err := predict.Run(in)
	switch over := (*predict.OverRating)(nil); {
	case errors.Is(err, predict.ErrNoRating):
		return usageError{fmt.Errorf("%w (--rating-bar)", err)}
	case errors.As(err, &over):
		return err
	case err != nil:
		return usageError{err}
	}
	if err := report.DrawPrediction(c.Plot, name, res); err != nil {
		return err
	}
	if c.JSON {
		err = printJSON(io.Out, "  ", res)
	} else {
		err = printPrediction(io.Out, name, &in, res)
	}
	if err != nil {
		return fmt.Errorf("print prediction: %w", err)
	}
	if res.Level == flight.Bad {
		return errBadVerdict
	}
	return nil
}
