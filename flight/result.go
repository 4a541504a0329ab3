package flight

import "time"

// Result is what is known of one flight after it: SI units, heights above the
// pad. Unknown quantities are nil. SD fields are standard deviations.
type Result struct {
	Session string `json:"session"`
	Rocket  string `json:"rocket"`
	Flight  int    `json:"flight"`

	LaunchedAt       *time.Time `json:"launched_at"`
	ApogeeAt         *time.Time `json:"apogee_at"`
	TimeToApogeeS    *float64   `json:"time_to_apogee_s"`
	TimeToApogeeSD   *float64   `json:"time_to_apogee_sd_s"`
	ApogeeM          *float64   `json:"apogee_m"`
	ApogeeSD         *float64   `json:"apogee_sd_m"`
	ApogeeCalledLate *float64   `json:"apogee_called_s_late"` // live call minus ApogeeAt, s
	MaxSpeedMps      *float64   `json:"max_speed_mps"`
	MaxSpeedSD       *float64   `json:"max_speed_sd_mps"`
	MaxAccelMps2     *float64   `json:"max_accel_mps2"`
	MaxAccelSD       *float64   `json:"max_accel_sd_mps2"`
	BurnoutS         *float64   `json:"burnout_s"` // after liftoff
	BurnoutSD        *float64   `json:"burnout_sd_s"`
	ReleaseAt        *time.Time `json:"release_at"`
	ReleaseLagS      *float64   `json:"release_lag_s"` // after apogee, negative if before
	ReleaseLagSD     *float64   `json:"release_lag_sd_s"`
	DescentMps       *float64   `json:"descent_mps"` // mean sink rate under the parachute, positive
	DescentSD        *float64   `json:"descent_sd_mps"`
	TouchdownAt      *time.Time `json:"touchdown_at"`
	DurationS        *float64   `json:"duration_s"`
	Landing          *Landing   `json:"landing"`
	Frames           uint64     `json:"frames"`
	LostFrames       uint64     `json:"lost_frames"`
	// Verdict is one word and a reason: "good: ...", "look: ...", "bad: ...".
	Verdict string   `json:"verdict"`
	Alarms  []string `json:"alarms"`
}
