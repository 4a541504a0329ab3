package station

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"padlark/storage"
)

// currentFile names, in the folder of the journals, the session that runs or that
// the next start may go on with.
const currentFile = "current.json"

// current is what the next start needs to know of a session to go on with it.
type current struct {
	Session string `json:"session"`
	// Boot names the run of the operating system in which the session was last
	// begun or gone on with, and Began is when its epoch was by the clock of that
	// run, which nobody sets; both are empty where the system has none.
	Boot  string `json:"boot,omitempty"`
	Began int64  `json:"began_ns,omitempty"`
	// Config is the digest of the configuration that the session has come to, empty
	// if it is still the one that it began with.
	Config string `json:"config,omitempty"`
}

func (s *station) journals() string { return filepath.Join(s.cfg.Station.Data, "journal") }

// keepCurrent notes that the session runs, so that it can be gone on with.
func (s *station) keepCurrent() error {
	c := current{Session: s.session.ID}
	if text := s.journal.Info().Config; text != s.began.Text {
		c.Config = digest(text)
	}
	if boot, up, ok := bootClock(); ok {
		c.Boot, c.Began = boot, (up - s.clock.Now()).Nanoseconds()
	}
	text, err := json.Marshal(c)
	if err != nil {
		return fmt.Errorf("note the session: %w", err)
	}
	path := filepath.Join(s.journals(), currentFile)
	err = os.WriteFile(path+".new", append(text, '\n'), 0o644)
	if err == nil {
		err = os.Rename(path+".new", path)
	}
	if err != nil {
		return fmt.Errorf("note the session: %w", err)
	}
	return nil
}

// loadCurrent is the session that was interrupted; ok is false if there is none,
// or none that can be told.
func (s *station) loadCurrent() (c current, ok bool) {
	text, err := os.ReadFile(filepath.Join(s.journals(), currentFile))
	if err != nil {
		return c, false
	}
	return c, json.Unmarshal(text, &c) == nil && c.Session != "" && filepath.Base(c.Session) == c.Session
}

// resumeWithin is how long after its last frame an interrupted session is gone
// on with; later a new one begins.
const resumeWithin = 10 * time.Minute

// breakTime tells how far a session that was cut off after its last frame would
// be by now, in three ways, from the surest to the last resort.
type breakTime struct {
	old    storage.Session
	last   time.Duration // Passed of its last frame
	flying bool          // a rocket was in the air
	now    time.Time     // by the computer's clock
	synced bool          // something vouches for that clock
	up     time.Duration // since the operating system's start, 0 if not known
	same   bool          // the operating system is still the one of then,
	since  time.Duration // and by its clock the session is so far now
}

// goneOn says how far the session is now, and whether to go on with it.
func (b breakTime) goneOn() (since time.Duration, ok bool) {
	if b.same {
		gap := b.since - b.last
		return b.since, gap > 0 && gap < resumeWithin
	}
	// The clock may still be the one that the session was begun by, or have been
	// set right meanwhile: then it agrees with the time that the session is known
	// to have begun at.
	early := true
	for _, epoch := range []time.Time{b.old.Epoch, b.old.Corrected(b.old.Epoch)} {
		since = b.now.Sub(epoch)
		gap := since - b.last
		if gap > 0 && gap < resumeWithin {
			return since, true
		}
		early = early && gap <= 0
	}
	// A computer without a clock of its own starts at some old date after a power
	// cut, so nobody can tell how long the break was: at least since the start of
	// the system. A rocket in the air is worth more than a date that is right; a
	// time that comes later, from GPS or by hand, mends that.
	if !b.synced && b.up > 0 && b.up < resumeWithin && (early || b.flying) {
		return b.last + b.up, true
	}
	return 0, false
}
