package flight

import (
	"time"

	"padlark/flight/phrase"
)

// Phase is where a rocket is in its flight.
type Phase string

// The phases, in the order in which a flight passes through them.
const (
	Waiting Phase = "waiting"
	Boost   Phase = "boost"
	Coast   Phase = "coast"
	Descent Phase = "descent"
	Landed  Phase = "landed"
)

// Kind names what an event is about.
type Kind string

// The kinds of event.
const (
	Liftoff Kind = "liftoff"
	Burnout Kind = "burnout"
	Apogee  Kind = "apogee"
	// Withdrawn takes back the call of the apogee before it: At and AltitudeM are
	// those of that call. The true one follows as another Apogee of the flight.
	Withdrawn Kind = "withdrawn"
	Release   Kind = "release"
	Touchdown Kind = "touchdown"
	Reboot    Kind = "reboot"
	TimeFix   Kind = "timefix"
	// Sounded is the height that the rocket's sounder beeped after its landing: all
	// that is known of a flight that no radio was heard of.
	Sounded Kind = "sounded"
)

// Event is something that happened to a rocket, found from its samples alone.
// Unknown quantities are nil, never 0.
type Event struct {
	// Session and ID are the natural key: ID is unique within a session and
	// the same in every replay (rocket, flight number, kind, boot).
	Session string `json:"session"`
	ID      string `json:"id"`
	// At is when it happened, CalledAt the measuring time of the sample (or
	// the tick) that made the call. Both UTC.
	At       time.Time `json:"at"`
	CalledAt time.Time `json:"called_at"`
	Rocket   string    `json:"rocket"`
	Kind     Kind      `json:"kind"`
	// Flight counts the rocket's flights in this session from 1; 0 when the
	// event belongs to none.
	Flight int `json:"flight"`
	// AtSD is the standard deviation of At in s.
	AtSD *float64 `json:"at_sd_s,omitempty"`
	// AltitudeM is the height above the pad, in m, with its standard deviation.
	AltitudeM  *float64 `json:"altitude_m,omitempty"`
	AltitudeSD *float64 `json:"altitude_sd_m,omitempty"`
	// SpeedMps is the vertical speed, up positive, in m/s.
	SpeedMps *float64 `json:"speed_mps,omitempty"`
	// Note says in plain words what a number cannot.
	Note string `json:"note,omitempty"`
}

// Priority ranks alarms: what a person must do, and how soon.
type Priority int

// Priorities, most urgent first.
const (
	LookUp Priority = 1 // danger now: look up, take cover
	Act    Priority = 2 // do something before going on
	Know   Priority = 3 // know and distrust
)

// Alarm is one state change of something that a person must act on or
// distrust. The life cycle is that of IEC 62682: raised, acknowledged,
// returned to normal.
type Alarm struct {
	// Session and ID are the natural key of the alarm; Change counts its state
	// changes from 1, so that (Session, ID, Change) is that of the message.
	Session string `json:"session"`
	ID      string `json:"id"`
	Change  int    `json:"change"`
	Rocket  string `json:"rocket"` // empty for an alarm of a link or the station
	Link    string `json:"link,omitempty"`
	Flight  int    `json:"flight"`
	// Kind names the rule, in-kebab-case; its documentation page has that name.
	Kind     string   `json:"kind"`
	Priority Priority `json:"priority"`
	// Active says whether the condition holds, Acked whether a person has
	// acknowledged it. A cleared alarm stays visible until it is acknowledged.
	Active bool `json:"active"`
	Acked  bool `json:"acked"`
	// RaisedAt, ChangedAt: event time, UTC. An active alarm of priority LookUp
	// changes once a second as its numbers do; only the change with both times
	// equal is one of being raised.
	RaisedAt  time.Time `json:"raised_at"`
	ChangedAt time.Time `json:"changed_at"`
	// Say is the short form, spoken; Reason the long form with the numbers and
	// what to do. Both in English and metric units; the phrases are for people.
	Say          string        `json:"say"`
	Reason       string        `json:"reason"`
	SayPhrase    phrase.Phrase `json:"say_phrase,omitzero"`
	ReasonPhrase phrase.Phrase `json:"reason_phrase,omitzero"`
}

// Settled says that nobody has to see it any more: it is over and acknowledged.
func (a *Alarm) Settled() bool { return !a.Active && a.Acked }

// State is what is known of one rocket after a sample or tick: the live
// picture. Unknown quantities are nil.
type State struct {
	Session string    `json:"session"`
	Rocket  string    `json:"rocket"`
	Link    string    `json:"link"`
	At      time.Time `json:"at"`    // measuring time of the newest sample
	Heard   time.Time `json:"heard"` // when it arrived
	Phase   Phase     `json:"phase"`
	Flight  int       `json:"flight"` // flights so far, the present one included
	Boot    uint32    `json:"boot"`
	// Height above the pad and vertical speed (up positive) with standard
	// deviations, SI.
	AltitudeM  *float64 `json:"altitude_m"`
	AltitudeSD *float64 `json:"altitude_sd_m"`
	SpeedMps   *float64 `json:"speed_mps"`
	SpeedSD    *float64 `json:"speed_sd_mps"`
	AccelMps2  *float64 `json:"accel_mps2"` // of the motion, -9.8 in free flight
	HighestM   *float64 `json:"highest_m"`
	// VentPart is by which part of the dynamic pressure the vent seems to read
	// low, as the climb showed it; for the rules, not for people.
	VentPart *float64 `json:"-"`
	VentSD   *float64 `json:"-"`
	// ToApogeeS is the predicted time to apogee in s, negative after it;
	// PredictedM the predicted apogee. Only while climbing.
	ToApogeeS   *float64 `json:"to_apogee_s"`
	ToApogeeSD  *float64 `json:"to_apogee_sd_s"`
	PredictedM  *float64 `json:"predicted_m"`
	PredictedSD *float64 `json:"predicted_sd_m"`
	// Released: a release was seen, told by the board or in the sink rate; after
	// the landing it tells of the flight that is over. Then cell and signal, as
	// last told by the board and the link.
	Released   bool     `json:"released"`
	ReleaseUs  *float64 `json:"release_us"`
	Armed      *bool    `json:"armed"`
	CellV      *float64 `json:"cell_v"`
	RSSIDbm    *float64 `json:"rssi_dbm"`
	PressurePa *float64 `json:"pressure_pa"`
	// LeftOut is the channel of two barometers' that is not believed just now.
	LeftOut   string   `json:"left_out,omitempty"`
	TempC     *float64 `json:"temperature_c"`
	Latitude  *float64 `json:"latitude_deg"`
	Longitude *float64 `json:"longitude_deg"`
	// Position is where it is, Landing where it will come down or has.
	Position *Position `json:"position"`
	Landing  *Landing  `json:"landing"`
	Frames   uint64    `json:"frames"`
	Lost     uint64    `json:"lost_frames"`
	// Go is true when nothing keeps the rocket from flying; NotYet lists what
	// does, in English words, NotYetPhrases the same for people.
	Go            bool            `json:"go"`
	NotYet        []string        `json:"not_yet"`
	NotYetPhrases []phrase.Phrase `json:"not_yet_phrases"`
}
