package storage

import (
	"errors"
	"time"
)

// ErrNoSession is returned for a session that is not in the archive.
var ErrNoSession = errors.New("no such session")

// Query chooses what an archive gives; the zero value of a field means all.
type Query struct {
	Session, Rocket, Link string // names; events have no link
	// Flight chooses one flight of the rocket: for samples, those from Margin
	// before its liftoff to Margin after its touchdown (10 s if zero).
	Flight int
	Margin time.Duration
	// From and To bound the time at which a thing was (Sample.At, Frame.Heard,
	// Event.At, Alarm.ChangedAt): From <= t < To, with the session's shift.
	From, To time.Time
	// FromPassed and ToPassed bound samples and frames by the order in which they came
	// through the sequencer, in ns since the session's epoch: FromPassed <= p < ToPassed.
	FromPassed, ToPassed int64
	// Recorded gives the times as they were recorded, without the session's shift.
	Recorded bool
	// AsHeard leaves out what people corrected afterwards.
	AsHeard bool
}

// Columns are some samples of one rocket over one link, turned on their side.
type Columns struct {
	Session, Rocket, Link string
	// Channels names what any of the block has that the samples are from, sorted.
	Channels []string
	// At is when each was measured, UTC in ns since 1970, with the session's
	// shift unless Query.Recorded. Over one link it nearly always rises.
	At []int64
	// Passed is at least that of the newest sample, in ns since the epoch.
	Passed int64
	// Ahead is about how many samples are to come over this link, these included.
	Ahead int
	// Values has, for each name that was asked for, a value for each sample, NaN
	// where it has none. If none was asked for by name, it has all Channels.
	Values [][]float64
}

// Note is a remark that a person made about a flight, or about a session.
type Note struct {
	ID      int64     `json:"id"` // given by the archive
	Session string    `json:"session"`
	Rocket  string    `json:"rocket"` // empty for a remark on the session
	Flight  int       `json:"flight"` // 0 for none
	At      time.Time `json:"at"`
	Text    string    `json:"text"`
}
