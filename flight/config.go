package flight

import "padlark/flight/atmos"

// Rocket is one airframe as its builder describes it. Zero means not given;
// what depends on a quantity that is not given is left out, not guessed,
// unless its comment says otherwise.
type Rocket struct {
	// Name is what people call it.
	Name string `toml:"name" json:"name"`
	// ID is the number that the board sends.
	ID *uint32 `toml:"id" json:"id,omitempty"`
	// Kind is "water" (default) or "solid": which defaults hold.
	Kind string `toml:"kind" json:"kind,omitempty"`
	// Cell is the supply: lipo-1s, lipo-2s, liion-1s, 9v, aa-3, aa-4.
	Cell string `toml:"cell" json:"cell,omitempty"`
	// Release is what opens the parachute: servo, none.
	Release string `toml:"release" json:"release,omitempty"`
	// ReleaseDelayS is the longest time in s that may pass between apogee and
	// the release before people are warned; 1.0 if not given.
	ReleaseDelayS float64 `toml:"release_delay_s" json:"release_delay_s,omitempty"`
	// ReleaseRestUs and ReleaseOpenUs are the servo's pulses in us, closed and
	// open; ReleaseMinUs and ReleaseMaxUs the limits that it must never leave.
	ReleaseRestUs float64 `toml:"release_rest_us" json:"release_rest_us,omitempty"`
	ReleaseOpenUs float64 `toml:"release_open_us" json:"release_open_us,omitempty"`
	ReleaseMinUs  float64 `toml:"release_min_us" json:"release_min_us,omitempty"`
	ReleaseMaxUs  float64 `toml:"release_max_us" json:"release_max_us,omitempty"`
	// ParachuteM is the nominal (constructed) diameter in m, ParachuteCd the
	// drag coefficient on that area (0.75 if not given).
	ParachuteM  float64 `toml:"parachute_m" json:"parachute_m,omitempty"`
	ParachuteCd float64 `toml:"parachute_cd" json:"parachute_cd,omitempty"`
	// MassKg is the mass at landing.
	MassKg float64 `toml:"mass_kg" json:"mass_kg,omitempty"`
	// DiameterM and Cd describe the body for ballistic flight.
	DiameterM float64 `toml:"diameter_m" json:"diameter_m,omitempty"`
	Cd        float64 `toml:"cd" json:"cd,omitempty"`
	// BottleL is what the bottle of a water rocket holds, in litres, NozzleM
	// the bore of its mouth in m, and RatingBar the pressure above the air, in
	// bar, that it is rated for: with fill and pressure of a launch they are
	// what padlark predict needs.
	BottleL   float64 `toml:"bottle_l" json:"bottle_l,omitempty"`
	NozzleM   float64 `toml:"nozzle_m" json:"nozzle_m,omitempty"`
	RatingBar float64 `toml:"rating_bar" json:"rating_bar,omitempty"`
	// Discharge is the part of the mouth's area that the jet fills: 1 for a well
	// rounded neck (also if not given), less for a sharp edge.
	Discharge float64 `toml:"discharge" json:"discharge,omitempty"`
	// RateHz is how many frames a second the board is meant to send.
	RateHz float64 `toml:"rate_hz" json:"rate_hz,omitempty"`
	// ExpectApogeeM and ExpectApogeeS are what the builder expects (see
	// padlark predict), in m above the pad and s after liftoff.
	ExpectApogeeM float64 `toml:"expect_apogee_m" json:"expect_apogee_m,omitempty"`
	ExpectApogeeS float64 `toml:"expect_apogee_s" json:"expect_apogee_s,omitempty"`
}

// ReceiverName stands in place of a rocket's name in the samples of the station's own
// receiver.
const ReceiverName = "station"

// Site is the flying field.
type Site struct {
	// ElevationM is above mean sea level. Nil if not given.
	ElevationM *float64 `toml:"elevation_m" json:"elevation_m,omitempty"`
	// TemperatureC is the air temperature at the pad; 15 if not given.
	TemperatureC *float64 `toml:"temperature_c" json:"temperature_c,omitempty"`
	// PressurePa is the station pressure if someone measured it.
	PressurePa   *float64 `toml:"pressure_pa" json:"pressure_pa,omitempty"`
	Humidity     *float64 `toml:"humidity" json:"humidity,omitempty"` // relative, 0 to 1
	LatitudeDeg  *float64 `toml:"latitude_deg" json:"latitude_deg,omitempty"`
	LongitudeDeg *float64 `toml:"longitude_deg" json:"longitude_deg,omitempty"`
	// Receiver names the link of the station's own satellite receiver (layout gps, or
	// gpsd): where it is, is the site, if latitude_deg and longitude_deg are not given.
	Receiver     string  `toml:"receiver" json:"receiver,omitempty"`
	FieldRadiusM float64 `toml:"field_radius_m" json:"field_radius_m,omitempty"`
	// WindMps is the wind at 2 m above the ground, WindFromDeg where it comes
	// from, clockwise from true north.
	WindMps     float64  `toml:"wind_mps" json:"wind_mps,omitempty"`
	WindFromDeg *float64 `toml:"wind_from_deg" json:"wind_from_deg,omitempty"`
}

// Kelvin is the temperature of the air at the pad, that of the standard atmosphere at
// sea level if nobody has told it.
func (s *Site) Kelvin() float64 {
	if s.TemperatureC != nil {
		return *s.TemperatureC + atmos.ZeroC
	}
	return atmos.StandardTemperature
}

// UsualParachuteCd is the drag coefficient of a parachute whose own is not given: the
// low end for a flat circular canopy on its constructed area (Knacke, NWC TP 6575,
// table 5-1: 0.75 to 0.80; from memory).
const UsualParachuteCd = 0.75

// CanopyCd is the drag coefficient of the rocket's parachute.
func (r *Rocket) CanopyCd() float64 {
	if r.ParachuteCd > 0 {
		return r.ParachuteCd
	}
	return UsualParachuteCd
}
