package predict

import (
	"math"
	"slices"

	"padlark/flight"
	"padlark/flight/phrase"
)

// Quantity is one predicted number: over all flights the mean, the standard
// deviation, and the values that 5 and 95 of 100 flights stay below.
type Quantity struct {
	Mean float64 `json:"mean"`
	SD   float64 `json:"sd"`
	Low  float64 `json:"p05"`
	High float64 `json:"p95"`
}

// quantity sums up values, which it sorts; nil for none.
func quantity(values []float64) *Quantity {
	if len(values) == 0 {
		return nil
	}
	slices.Sort(values)
	var q Quantity
	n := float64(len(values))
	for _, v := range values {
		q.Mean += v / n
	}
	for _, v := range values {
		q.SD += (v - q.Mean) * (v - q.Mean)
	}
	q.SD = math.Sqrt(q.SD / math.Max(n-1, 1))
	q.Low, q.High = quantile(values, 0.05), quantile(values, 0.95)
	return &q
}

// quantile of sorted values, by straight lines between them.
func quantile(sorted []float64, p float64) float64 {
	x := p * float64(len(sorted)-1)
	i := int(x)
	if i+1 >= len(sorted) {
		return sorted[len(sorted)-1]
	}
	return sorted[i] + (x-float64(i))*(sorted[i+1]-sorted[i])
}

// Result is a prediction. SI units, heights above the pad; what does not exist
// for this rocket is nil.
type Result struct {
	Flights int    `json:"flights"`
	Seed    uint64 `json:"seed"`
	// Grounded counts the drawn flights that did not leave the pad.
	Grounded int `json:"grounded"`

	ApogeeM       *Quantity `json:"apogee_m"`
	TimeToApogeeS *Quantity `json:"time_to_apogee_s"`
	MaxSpeedMps   *Quantity `json:"max_speed_mps"`
	MaxAccelMps2  *Quantity `json:"max_accel_mps2"`
	RailExitMps   *Quantity `json:"rail_exit_mps"`
	WaterOutS     *Quantity `json:"water_out_s"`
	BurnoutS      *Quantity `json:"burnout_s"`
	ReleaseS      *Quantity `json:"release_s"`
	DescentMps    *Quantity `json:"descent_mps"` // sink rate at the ground, positive
	DescentS      *Quantity `json:"descent_s"`   // from apogee to the ground
	DurationS     *Quantity `json:"duration_s"`
	// DriftM is the distance from the pad to where the rocket comes down.
	DriftM *Quantity `json:"drift_m"`
	// The same if no parachute opens.
	BallisticMps    *Quantity `json:"ballistic_mps"`
	BallisticDriftM *Quantity `json:"ballistic_drift_m"`
	// BallisticEnergyJ is the energy at the ground without a parachute.
	BallisticEnergyJ *Quantity `json:"ballistic_energy_j"`

	Timer  Timer  `json:"backup_timer"`
	Field  Field  `json:"field"`
	Canopy Canopy `json:"parachute"`
	// Warnings are what this prediction found; Cautions hold for every launch of
	// the kind.
	Warnings []string `json:"warnings"`
	Cautions []string `json:"cautions"`
	// The verdict: how good it looks, and why. Verdict is both in English and metric
	// units.
	Level   flight.Level  `json:"level"`
	Reason  phrase.Phrase `json:"reason"`
	Verdict string        `json:"verdict"`

	Band []Band `json:"band"`
}

// Band is the height at one time over all flights, in m.
type Band struct {
	T    float64 `json:"t_s"`
	Low  float64 `json:"p05_m"`
	Mid  float64 `json:"p50_m"`
	High float64 `json:"p95_m"`
}

// Timer is what a backup timer on the board must know. The margin on top is the
// builder's decision: too short opens the parachute while the rocket is still
// fast, too long not before the ground.
type Timer struct {
	ExpectedS float64 `json:"expected_s"` // mean time from liftoff to apogee
	SpreadS   float64 `json:"spread_s"`   // its standard deviation
	LatestS   float64 `json:"latest_s"`   // the latest apogee of all flights
	// GroundS is when the first of all flights without a parachute is down: a
	// timer must have fired well before.
	GroundS float64 `json:"ground_s"`
}

// Field is the judgement of the field.
type Field struct {
	RadiusM *float64 `json:"radius_m"`
	// NeedM is the distance within which 99 of 100 flights come down, with the
	// parachute and without, whichever is farther.
	NeedM float64 `json:"need_m"`
	// StrayM is how far the rocket as typed gets at the worst tilt, without
	// parachute: what may happen when a rail falls over or a fin comes off.
	StrayM float64 `json:"stray_m"`
	// OutsidePart and BallisticOutsidePart are the parts of the flights that come down beyond the radius.
	OutsidePart          *float64 `json:"outside_part"`
	BallisticOutsidePart *float64 `json:"ballistic_outside_part"`
	BigEnough            *bool    `json:"big_enough"`
}

// Canopy is the judgement of the parachute.
type Canopy struct {
	// ForFiveM is the nominal diameter in m with which the rocket sinks at
	// 5 m/s near the ground.
	ForFiveM float64 `json:"diameter_for_5_mps_m"`
	SinkOK   *bool   `json:"sink_ok"`
}
