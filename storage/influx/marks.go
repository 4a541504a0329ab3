package influx

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
)

// mark is what is known about a session on the server. It outlives the program,
// so that what could not be finished is finished by the next one.
type mark struct {
	Session string `json:"session"`
	// Server is the one that the mark is about.
	Server string `json:"server"`
	// ShiftNs is the time shift with which the points were sent.
	ShiftNs int64 `json:"shift_ns"`
	// Said is what people had said of the session's flights when they were sent: a
	// void one is not on the server.
	Said string `json:"said,omitempty"`
	// Place is how far the session's journal has been sent, in bytes. It is here
	// and not beside the journal because it is about one server, and because
	// sending anew starts it over.
	Place int64 `json:"place"`
	// Complete says that everything is there, flights and links included.
	Complete bool `json:"complete"`
	// Again says that what comes after Place may be missing: the journal is to be
	// sent from there, or the session anew from the archive. It is so for as long
	// as the session runs.
	Again bool `json:"again"`
	// Replace says that there are points with another time shift, which have to
	// be deleted first.
	Replace bool `json:"replace"`
}

// marks keeps one small file per session.
type marks struct {
	dir    string
	server string
}

func newMarks(o Options) *marks {
	return &marks{dir: filepath.Join(o.Dir, "sessions"), server: o.URL + " " + o.Org + " " + o.Bucket}
}

const markSuffix = ".json"

func (m *marks) path(session string) string {
	return filepath.Join(m.dir, url.QueryEscape(session)+markSuffix)
}

// load reads a session's mark. If there is none, or one about another server, it
// makes a new one, with only session and server set, and noted is false. One that
// a power cut has torn says that nothing is known: all is to be replaced.
func (m *marks) load(session string) (k mark, noted bool, err error) {
	fresh := mark{Session: session, Server: m.server}
	data, err := os.ReadFile(m.path(session))
	if errors.Is(err, os.ErrNotExist) {
		return fresh, false, nil
	}
	if err != nil {
		return fresh, false, fmt.Errorf("read note about a session on the server: %w", err)
	}
	if json.Unmarshal(data, &k) != nil || k.Session != session {
		fresh.Replace = true
		return fresh, true, nil
	}
	if k.Server != m.server {
		return fresh, false, nil
	}
	return k, true, nil
}

// save replaces a session's mark in one step.
func (m *marks) save(k mark) error {
	k.Server = m.server
	data, err := json.Marshal(k)
	if err != nil {
		return fmt.Errorf("write note about session %s: %w", k.Session, err)
	}
	if err := os.MkdirAll(m.dir, 0o755); err != nil {
		return fmt.Errorf("write note about session %s: %w", k.Session, err)
	}
	path := m.path(k.Session)
	if err := os.WriteFile(path+".new", append(data, '\n'), 0o644); err != nil {
		return fmt.Errorf("write note about session %s: %w", k.Session, err)
	}
	if err := os.Rename(path+".new", path); err != nil {
		return fmt.Errorf("write note about session %s: %w", k.Session, err)
	}
	return nil
}

// noted lists the sessions of this server.
func (m *marks) noted() ([]mark, error) {
	entries, err := os.ReadDir(m.dir)
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("list notes about sessions: %w", err)
	}
	var out []mark
	for _, e := range entries {
		name, ok := strings.CutSuffix(e.Name(), markSuffix)
		session, err := url.QueryUnescape(name)
		if !ok || err != nil {
			continue // not one of ours
		}
		// One that cannot be read is passed over: its session can be sent by hand.
		if k, noted, err := m.load(session); err == nil && noted {
			out = append(out, k)
		}
	}
	return out, nil
}
