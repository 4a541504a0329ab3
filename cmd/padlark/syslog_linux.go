package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"
	"sync"

	"github.com/coreos/go-systemd/v22/journal"
	"github.com/rs/zerolog"
)

// sysLog is the log of the system's service manager, nil where it does not keep
// what this process writes to its error output.
func sysLog() *journalLog {
	if ok, err := journal.StderrIsJournalStream(); err != nil || !ok {
		return nil
	}
	return newJournalLog(journal.Send)
}

// journalLog sends log lines to systemd-journald: the line as it reads in a
// terminal as message, its level as priority, and each of its fields once more
// under a name of its own, so that journalctl PADLARK_LINK=pad-radio finds them
// (systemd.journal-fields(7) wants upper case).
type journalLog struct {
	send func(message string, p journal.Priority, fields map[string]string) error

	mu   sync.Mutex
	text bytes.Buffer
	line zerolog.ConsoleWriter
}

func newJournalLog(send func(string, journal.Priority, map[string]string) error) *journalLog {
	j := &journalLog{send: send}
	j.line = zerolog.ConsoleWriter{Out: &j.text, NoColor: true, PartsExclude: []string{zerolog.TimestampFieldName, zerolog.LevelFieldName}}
	return j
}

// Write takes one line of zerolog's JSON. It is safe for concurrent use.
func (j *journalLog) Write(p []byte) (int, error) {
	j.mu.Lock()
	defer j.mu.Unlock()
	var line map[string]any
	if err := json.Unmarshal(p, &line); err != nil {
		return 0, fmt.Errorf("send to the system's log: %w", err)
	}
	j.text.Reset()
	if _, err := j.line.Write(p); err != nil {
		return 0, fmt.Errorf("send to the system's log: %w", err)
	}
	fields := map[string]string{}
	for k, v := range line {
		switch k {
		case zerolog.MessageFieldName, zerolog.LevelFieldName, zerolog.TimestampFieldName:
		default:
			fields["PADLARK_"+strings.ToUpper(strings.Map(fieldByte, k))] = fmt.Sprint(v)
		}
	}
	level, _ := line[zerolog.LevelFieldName].(string)
	return len(p), j.send(strings.TrimSpace(j.text.String()), priority(level), fields)
}

// fieldByte keeps what a field's name may have.
func fieldByte(r rune) rune {
	if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' {
		return r
	}
	return '_'
}

// priority is syslog's word for a level of zerolog.
func priority(level string) journal.Priority {
	switch level {
	case "error", "fatal", "panic":
		return journal.PriErr
	case "warn":
		return journal.PriWarning
	case "debug", "trace":
		return journal.PriDebug
	}
	return journal.PriInfo
}
