package bundle

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"

	"padlark/flight"
	"padlark/storage"
	"padlark/storage/sqlite"
)

// The first bytes of a bundle: twelve of magic, then the version of the format
// in two digits and a line end. The byte above 0x7F shows a transfer that
// dropped the top bits, CR LF one that changed line ends.
var magic = []byte("PLARKBUND\x8B\r\n")

const (
	version   = 1
	headBytes = 16
)

func head() []byte { return append(bytes.Clone(magic), fmt.Sprintf("%02d\r\n", version)...) }

// Errors of a file that cannot be taken.
var (
	errNotBundle = errors.New("not a padlark bundle")
	errDamaged   = errors.New("the bundle is damaged or cut short; copy it again from where it was made")
	errNewer     = errors.New("the bundle was written by a newer padlark; bring this one up to date")
	// errOther is returned when the archive holds another session of that name.
	errOther = errors.New("the archive holds another session of this name")
)

// Is says whether r begins as a bundle does. It reads those first bytes only.
func Is(r io.Reader) bool {
	got := make([]byte, len(magic))
	_, err := io.ReadFull(r, got)
	return err == nil && bytes.Equal(got, magic)
}

// Names of the entries, in the order in which they are written and read:
// samples before events, since a liftoff looks for the pad's pressure.
const (
	sessionEntry  = "session.json"
	manifestEntry = "manifest.json"
	framesEntry   = "frames.jsonl"
	samplesEntry  = "samples.jsonl"
	rejectsEntry  = "rejects.jsonl"
	eventsEntry   = "events.jsonl"
	alarmsEntry   = "alarms.jsonl"
	notesEntry    = "notes.jsonl"
	checksEntry   = "checks.jsonl"
)

func entries() []string {
	return []string{sessionEntry, framesEntry, samplesEntry, rejectsEntry, eventsEntry, alarmsEntry, notesEntry, checksEntry}
}

// part is what the manifest says of one entry.
type part struct {
	Name   string `json:"name"`
	Lines  uint64 `json:"lines"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}

type manifest struct {
	Format  string `json:"format"` // "padlark bundle"
	Version int    `json:"version"`
	Session string `json:"session"`
	Parts   []part `json:"parts"`
}

// session is storage.Session in the form of the file. Times are as recorded.
type session struct {
	ID          string          `json:"id"`
	Station     string          `json:"station"`
	Epoch       time.Time       `json:"epoch"`
	Started     time.Time       `json:"started"`
	Ended       *time.Time      `json:"ended"` // null if it was not ended in good order
	Version     string          `json:"version"`
	Config      string          `json:"config"`
	Changes     []change        `json:"changes,omitempty"` // of the configuration while it ran
	Site        flight.Site     `json:"site"`
	Rockets     []flight.Rocket `json:"rockets"`
	Links       []string        `json:"links"`
	ShiftNs     int64           `json:"shift_ns"`
	ShiftSource string          `json:"shift_source,omitempty"`
}

// change is another configuration, for what passed after AtNs, in ns since the epoch.
type change struct {
	AtNs   int64  `json:"at_ns"`
	Config string `json:"config"`
}

func fromStored(s storage.Session) session {
	out := session{
		ID: s.ID, Station: s.Station, Epoch: s.Epoch, Started: s.Started, Version: s.Version, Config: s.Config,
		Site: s.Site, Rockets: s.Rockets, Links: s.Links, ShiftNs: s.Shift.Nanoseconds(), ShiftSource: s.ShiftSource,
	}
	for _, c := range s.Changes {
		out.Changes = append(out.Changes, change{c.At, c.Config})
	}
	if !s.Ended.IsZero() {
		out.Ended = &s.Ended
	}
	return out
}

func (s session) stored() storage.Session {
	out := storage.Session{
		ID: s.ID, Station: s.Station, Epoch: s.Epoch, Started: s.Started, Version: s.Version, Config: s.Config,
		Site: s.Site, Rockets: s.Rockets, Links: s.Links, Shift: time.Duration(s.ShiftNs), ShiftSource: s.ShiftSource,
	}
	if s.Ended != nil {
		out.Ended = *s.Ended
	}
	return out
}

type note struct {
	Rocket string    `json:"rocket,omitempty"`
	Flight int       `json:"flight,omitempty"`
	At     time.Time `json:"at"`
	Text   string    `json:"text"`
	// Void, if it is there, makes it the statement that the flight was none
	// (true) or one after all (false); Text says why.
	Void *bool `json:"void,omitempty"`
	// Correction, if it is there, makes it a statement that flights were told apart
	// wrongly.
	Correction *sqlite.Correction `json:"correction,omitempty"`
}

type check struct {
	Rocket  string          `json:"rocket"`
	At      time.Time       `json:"at"`
	Verdict string          `json:"verdict"`
	Version string          `json:"version"`
	Report  json.RawMessage `json:"report"`
}
