package flight

import (
	"time"

	"padlark/flight/phrase"
)

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
	// The verdict: how good it was, and why. Verdict is both in English and metric
	// units, for programs; the reason is for people.
	Level   Level         `json:"level"`
	Reason  phrase.Phrase `json:"reason"`
	Verdict string        `json:"verdict"`
	Alarms  []string      `json:"alarms"`
}

// Level is how good something was.
type Level string

// The levels.
const (
	Good Level = "good"
	Look Level = "look" // a person should look at it
	Bad  Level = "bad"
	Void Level = "void" // a person took the flight for none
)

// Say is a level with its reason.
func (l Level) Say(reason phrase.Phrase) phrase.Phrase {
	return phrase.Of("level."+string(l), phrase.In("reason", reason))
}

// Judge gives a flight its verdict.
func (r *Result) Judge(l Level, reason phrase.Phrase) {
	r.Level, r.Reason = l, reason
	r.Verdict = phrase.Reader{}.Write(l.Say(reason), "")
}

// Said is the verdict as a reader reads it.
func (r *Result) Said(to phrase.Reader) string { return to.Write(r.Level.Say(r.Reason), r.Verdict) }
