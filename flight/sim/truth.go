package sim

import (
	"math"
	"time"

	"padlark/flight"
	"padlark/flight/ensemble"
)

// Truth is one flight as it really was. Unknown is nil. A list of these is
// truth.json.
type Truth struct {
	Rocket         string    `json:"rocket"`
	Round          int       `json:"round"`
	LiftoffAt      time.Time `json:"liftoff_at"`
	ApogeeM        float64   `json:"apogee_m"` // above the pad
	TimeToApogeeS  float64   `json:"time_to_apogee_s"`
	MaxSpeedMps    float64   `json:"max_speed_mps"` // vertical
	ReleaseLagS    *float64  `json:"release_lag_s"` // after apogee
	DescentMps     *float64  `json:"descent_mps"`   // mean, from the full parachute on
	TouchdownAfter float64   `json:"touchdown_after_s"`
}

// newTruth shifts an ensemble's truth, whose flight starts at start, to the
// session's epoch.
func newTruth(t *ensemble.Truth, rocket string, round int, epoch time.Time, start float64) Truth {
	return Truth{
		Rocket: rocket, Round: round,
		LiftoffAt: epoch.Add(secs(start + t.LiftoffS)), ApogeeM: t.ApogeeM,
		TimeToApogeeS: t.TimeToApogeeS(), MaxSpeedMps: t.MaxSpeedMps,
		ReleaseLagS: known(t.ReleaseS - t.ApogeeS), DescentMps: known(t.DescentMps),
		TouchdownAfter: t.TouchdownS - t.LiftoffS,
	}
}

func known(v float64) *float64 {
	if math.IsNaN(v) {
		return nil
	}
	return &v
}

func secs(s float64) time.Duration { return time.Duration(math.Round(s * 1e9)) }

// configured completes a rocket with what its builder would have measured.
func configured(r flight.Rocket, drawn flight.Rocket) flight.Rocket {
	r.ParachuteM, r.ParachuteCd, r.MassKg = drawn.ParachuteM, drawn.ParachuteCd, drawn.MassKg
	r.DiameterM, r.Cd = drawn.DiameterM, drawn.Cd
	r.ExpectApogeeM, r.ExpectApogeeS = drawn.ExpectApogeeM, drawn.ExpectApogeeS
	return r
}
