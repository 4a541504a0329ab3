package logimport

import (
	"context"
	"fmt"
	"strings"
	"time"

	"padlark/flight"
	"padlark/ingest"
	"padlark/storage"
	"padlark/storage/sqlite"
	"padlark/watch"
)

// Job is a log that was read, on its way into an archive.
type Job struct {
	Archive *sqlite.Archive
	Dir     string // the data folder of a station, for the journals
	Version string // of the software, for the sessions
	Link    string // whose frames the log's are
	Rocket  string // whose log it is
	// At is when the log begins and Written when it was written, for one that
	// nothing else dates; zero if nobody said.
	At, Written time.Time
	Log         *Log
	Config      *Configured
	// With is the configuration of another session with the log's link added.
	With func(s *storage.Session) (*Configured, error)
	// Stored, if set, hears how many lines have been stored.
	Stored func(lines int64)

	epoch  time.Time // of the log's session
	stored int64
	done   Done
}

// Configured is a configuration that knows the log's link.
type Configured struct {
	Text    string
	Station string
	Site    flight.Site
	Rockets []flight.Rocket
	Links   []ingest.LinkConfig
	// Line makes what decodes and watches the frames of a session.
	Line func(session string, epoch time.Time) (watch.Line, error)
}

// Done is what was done with a log, as it is printed.
type Done struct {
	File    string   `json:"file"`
	Link    string   `json:"link"`
	Session string   `json:"session"`
	Merged  []string `json:"merged"`
	Samples int      `json:"samples"`
	Flights int      `json:"flights"`
	// Skipped has the first pieces that were skipped, Bad says how many there
	// are; Config.OnSkip has heard of them all.
	Skipped []Skip    `json:"skipped"`
	Bad     int       `json:"skipped_count"`
	Hints   []string  `json:"hints"`
	Dated   string    `json:"dated"` // how the time of day became known
	Aligned []Aligned `json:"aligned"`
}

// Aligned is one flight of the log and the radio flight it lies over.
type Aligned struct {
	Flight       int    `json:"flight"` // of the log
	RadioSession string `json:"radio_session"`
	RadioFlight  int    `json:"radio_flight"`
	Alignment
	Begins time.Time `json:"log_begins_at"` // its stretch, by the station's time
	Better string    `json:"denser_and_cleaner"`
	Merged string    `json:"merged_session"`

	stretch int
}

// String says the alignment in one line.
func (a Aligned) String() string {
	return fmt.Sprintf("flight %d is flight %d of session %s: the log begins at %s by the station's clock; "+
		"correlation of heights %.5f, rms difference %.2f m, over %.1f s; denser and cleaner: %s; merged in session %s",
		a.Flight, a.RadioFlight, a.RadioSession, a.Begins.UTC().Format("2006-01-02T15:04:05.000Z"),
		a.Correlation, a.RMSM, a.OverlapS, a.Better, a.Merged)
}

// Run finds the log's time and stores it, alone and merged.
func (m *Job) Run(ctx context.Context) (Done, error) {
	m.done = Done{Link: m.Link, Samples: m.Log.Good, Skipped: m.Log.Skipped, Bad: m.Log.Bad}
	err := m.store(ctx)
	m.done.Hints = m.Log.Hints
	return m.done, err
}

func (m *Job) store(ctx context.Context) error {
	heard, err := m.radioFlights(ctx)
	if err != nil {
		return err
	}
	if len(heard) > 0 {
		if err := m.tryAlign(ctx, heard); err != nil {
			return err
		}
	}
	epoch := m.date()
	m.epoch = epoch
	id := epoch.UTC().Format("20060102-150405") + logMark + m.Log.sum()
	p, err := m.keep(ctx, m.session(id, epoch, m.Config, m.Link), m.Config, m.alone(id, epoch))
	if err != nil {
		return err
	}
	m.done.Session = id
	for _, e := range p.events {
		if e.Kind == flight.Liftoff {
			m.done.Flights++
		}
	}
	return m.mergeAll(ctx)
}

// date puts the stretches where they belong and gives the log's epoch.
func (m *Job) date() time.Time {
	st := m.Log.Stretches
	if len(m.done.Aligned) > 0 {
		first := m.done.Aligned[0]
		epoch := first.Begins.Add(-st[first.stretch].Base).Round(time.Microsecond).UTC()
		for _, a := range m.done.Aligned {
			m.moveTo(a.stretch, a.Begins.Sub(epoch).Round(time.Microsecond))
		}
		// The epoch is where the log begins.
		if back := st[0].Base; back != 0 {
			epoch = epoch.Add(back)
			for i := range st {
				st[i].Base -= back
			}
		}
		m.done.Dated = "from the flight that was also heard by radio"
		return epoch
	}
	if !m.At.IsZero() {
		m.done.Dated = "as said with --at"
		return m.At.UTC()
	}
	if m.Log.Heard {
		m.done.Dated = "as the capture has it"
		return m.Log.Begins.UTC()
	}
	m.done.Dated = "not known; the log is taken to end when its file was written; --at TIME says better"
	return m.Written.Add(-m.Log.End()).UTC().Truncate(time.Second)
}

// moveTo moves a stretch and those after it, if that keeps their order.
func (m *Job) moveTo(k int, base time.Duration) {
	st := m.Log.Stretches
	if k > 0 && base < st[k-1].Base+st[k-1].Length {
		m.Log.Hints = append(m.Log.Hints, fmt.Sprintf("stretch %d of the log would lie before the one before it; its time is left open", k+1))
		return
	}
	by := base - st[k].Base
	for i := k; i < len(st); i++ {
		st[i].Base += by
	}
}

// LinkName makes a file's name one that a link may have.
func LinkName(name string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' || r == '_' {
			return r
		}
		return '_'
	}, name)
}

// LatestConfig is the text of the configuration of the newest session that
// knows a rocket and was no import; "" if there is none.
func LatestConfig(ctx context.Context, a *sqlite.Archive, rocket string) (string, error) {
	all, err := a.Sessions(ctx)
	if err != nil {
		return "", err
	}
	for i := len(all) - 1; i >= 0; i-- {
		for _, r := range all[i].Rockets {
			if _, isLog := logOf(all[i].ID); r.Name == rocket && !isLog && all[i].Config != "" {
				return all[i].Latest(), nil
			}
		}
	}
	return "", nil
}
