package predict

import (
	"errors"
	"fmt"

	"padlark/flight/atmos"
	"padlark/flight/model"
)

// defaultPolytropic lies between isothermal (1) and adiabatic (1.4). Common
// practice, no source: measured exponents depend on the first state of the air
// (Romanelli, Bove, Gonzalez, arXiv:1211.1923, abstract).
const defaultPolytropic = 1.3

// ErrNoRating is returned when a pressure is given without the pressure for
// which the bottle is rated.
var ErrNoRating = errors.New("no pressure rating given: type the pressure that your bottle is rated for, " +
	"as tested or as its maker states; without it there is no prediction")

// OverRating is returned when the pressure is above the rating. No flight is
// computed then.
type OverRating struct{ Gauge, Rating float64 } // Pa above the air

func (e *OverRating) Error() string {
	return fmt.Sprintf("pressure %.2f bar is above the rating of %.2f bar that you gave for the bottle: "+
		"no prediction is made there; a bottle that bursts throws splinters, so stay below its rating",
		e.Gauge/1e5, e.Rating/1e5)
}

// Input is one launch with its spread and what it is judged against.
type Input struct {
	Rocket model.Rocket
	Launch model.Launch
	Spread Spread
	// Rating is the pressure in Pa above the air that the bottle is rated for.
	// Not needed with a motor.
	Rating float64
	// FieldRadius is how far from the pad people, roads and roofs begin, in m;
	// 0 if not known.
	FieldRadius float64
	// Flights is how many are flown, 500 if 0; Seed makes the draws.
	Flights int
	Seed    uint64
	// Points of the height/time band, 400 if 0.
	Points int
}

const (
	flightsFewest, flightsMost = 20, 20000
	pointsMost                 = 5000
)

// prepare checks the input and fills defaults.
func (in *Input) prepare() error {
	if in.Flights == 0 {
		in.Flights = 500
	}
	if in.Points == 0 {
		in.Points = 400
	}
	if in.Flights < flightsFewest || in.Flights > flightsMost {
		return fmt.Errorf("number of flights is %d: give %d to %d", in.Flights, flightsFewest, flightsMost)
	}
	if in.Points < 10 || in.Points > pointsMost {
		return fmt.Errorf("number of points is %d: give 10 to %d", in.Points, pointsMost)
	}
	if !(in.FieldRadius >= 0 && in.FieldRadius <= 1e5) {
		return fmt.Errorf("field radius is %g m: give 0 (not known) to 100000 m", in.FieldRadius)
	}
	if err := in.Spread.validate(); err != nil {
		return err
	}
	if in.Rocket.Motor == nil {
		if !(in.Rating > 0) {
			return ErrNoRating
		}
		if in.Launch.Gauge > in.Rating {
			return &OverRating{in.Launch.Gauge, in.Rating}
		}
	}
	if in.Rocket.Polytropic == 0 {
		in.Rocket.Polytropic = defaultPolytropic
	}
	if in.Launch.Air.Temperature == 0 {
		in.Launch.Air.Temperature = atmos.At(atmos.Geopotential(in.Launch.Air.Elevation)).Temperature
	}
	if in.Launch.WaterTemperature == 0 {
		in.Launch.WaterTemperature = max(in.Launch.Air.Temperature, atmos.ZeroC)
	}
	return nil
}
