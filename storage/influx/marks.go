package influx

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"padlark/bus"
)

// mark is what is known about a session on the server. It outlives the program,
// so that what could not be finished is finished by the next one.
type mark struct {
	Session string `json:"session"`
	// Server is the one that the mark is about.
	Server string `json:"server"`
	// ShiftNs is the time shift with which the points were sent.
	ShiftNs int64 `json:"shift_ns"`
	// Complete says that everything is there, flights and links included.
	Complete bool `json:"complete"`
	// Again says that samples may be missing: the session is to be sent anew.
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
	return filepath.Join(m.dir, bus.Token(session)+markSuffix)
}

// load reads a session's mark. If there is none, or one about another server, it
// makes a new one, with only session and server set, and noted is false.
func (m *marks) load(session string) (k mark, noted bool, err error) {
	fresh := mark{Session: session, Server: m.server}
	k, err = readMark(m.path(session))
	if errors.Is(err, os.ErrNotExist) || err == nil && k.Server != m.server {
		return fresh, false, nil
	}
	if err != nil {
		return fresh, false, err
	}
	return k, true, nil
}

func readMark(path string) (mark, error) {
	var k mark
	data, err := os.ReadFile(path)
	if err != nil {
		return k, fmt.Errorf("read note about a session on the server: %w", err)
	}
	if err := json.Unmarshal(data, &k); err != nil {
		return k, fmt.Errorf("read note %s (delete it and send the session again): %w", path, err)
	}
	return k, nil
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

// pending lists the sessions of this server that are not complete. A note that
// cannot be read is passed over: its session can be sent by hand.
func (m *marks) pending() ([]mark, error) {
	entries, err := os.ReadDir(m.dir)
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("list notes about sessions: %w", err)
	}
	var out []mark
	for _, e := range entries {
		if !strings.HasSuffix(e.Name(), markSuffix) {
			continue
		}
		k, err := readMark(filepath.Join(m.dir, e.Name()))
		if err == nil && k.Server == m.server && !k.Complete {
			out = append(out, k)
		}
	}
	return out, nil
}
