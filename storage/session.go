package storage

import (
	"time"

	"padlark/flight"
)

// Session is one run of a station. Times are UTC as recorded, without Shift.
type Session struct {
	ID      string // its name, unique in the archive
	Station string
	// Epoch is the moment to which all times of the session refer; it cannot be
	// changed once rows are stored.
	Epoch   time.Time
	Started time.Time      // Epoch if zero
	Ended   time.Time      // zero while it runs, or if the daemon was killed
	Version string         // of padlark
	Config  string         // text of the configuration that it began with
	Changes []ConfigChange // to other ones, in order; not stored by StartSession
	Site    flight.Site
	Rockets []flight.Rocket
	Links   []string
	// Shift is what must be added to every recorded time, ShiftSource how that
	// became known; both are empty while the time has not been fixed.
	Shift       time.Duration
	ShiftSource string
}

// ConfigChange is another configuration of a session, for what passed after At, in ns
// since the epoch.
type ConfigChange struct {
	At     int64
	Config string
}

// Latest is the text of the configuration that the session has come to.
func (s Session) Latest() string {
	if n := len(s.Changes); n > 0 {
		return s.Changes[n-1].Config
	}
	return s.Config
}

// Corrected adds the session's shift to a recorded time.
func (s Session) Corrected(t time.Time) time.Time { return t.Add(s.Shift) }
