package logimport

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"padlark/flight"
	"padlark/ingest"
	"padlark/storage"
	"padlark/storage/journal"
	"padlark/storage/sqlite"
)

// keep stores a session of frames with all that follows from them, in the archive
// and as a journal. Doing it again changes nothing. If it fails, the archive is as it was before.
func (m *Job) keep(ctx context.Context, s storage.Session, cfg *Configured, frames frameSource) (*player, error) {
	was, err := m.Archive.Session(ctx, s.ID)
	if err != nil && !errors.Is(err, storage.ErrNoSession) {
		return nil, err
	}
	there := err == nil && !was.Ended.IsZero() // one that an import left unfinished does not count
	p, err := m.fill(ctx, s, cfg, frames)
	if err == nil {
		return p, nil
	}
	if errors.Is(err, context.Canceled) {
		err = errors.New("interrupted")
	}
	// Nothing of it is new, so it only has to be closed again.
	undo, state := func() error { return m.Archive.EndSession(ctx, s.ID, was.Ended) }, "is whole, from an earlier import"
	if !there {
		undo, state = func() error { return m.Archive.DropSession(ctx, s.ID) }, "was taken out again, nothing of it is left"
	}
	if bad := undo(); bad != nil && !errors.Is(bad, storage.ErrNoSession) {
		state = fmt.Sprintf("is there in part (%v), and the same import makes it whole", bad)
	}
	return nil, fmt.Errorf("%w; session %s %s", err, s.ID, state)
}

func (m *Job) fill(ctx context.Context, s storage.Session, cfg *Configured, frames frameSource) (_ *player, err error) {
	if err := m.Archive.StartSession(ctx, s); err != nil {
		return nil, err
	}
	j, err := NewSessionJournal(m.Dir, "importing", s, cfg.Links) // the archive's lock sees to it that nobody else does
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, j.Drop()) }()
	p := &player{cfg: cfg, id: s.ID, epoch: s.Epoch}
	p.rows = func(r sqlite.Rows) error {
		if m.stored += int64(len(r.Frames)); m.Stored != nil {
			m.Stored(m.stored)
		}
		if err := j.Write(r.Frames); err != nil {
			return err
		}
		return m.Archive.WriteRows(ctx, r)
	}
	if err := p.play(ctx, frames); err != nil {
		return nil, err
	}
	if err := j.Finish(ctx, p.alarms, p.events, time.Duration(p.end())); err != nil {
		return nil, err
	}
	last := sqlite.Rows{Events: p.events, Alarms: p.alarms, From: p.frames + 1}
	if err := m.Archive.WriteRows(ctx, last); err != nil {
		return nil, err
	}
	return p, m.Archive.EndSession(ctx, s.ID, s.Epoch.Add(time.Duration(p.end())))
}

// session describes a session made of a log.
func (m *Job) session(id string, epoch time.Time, cfg *Configured, links ...string) storage.Session {
	return storage.Session{
		ID: id, Station: cfg.Station, Epoch: epoch, Version: m.Version, Config: cfg.Text,
		Site: cfg.Site, Rockets: cfg.Rockets, Links: links,
	}
}

const (
	logMark   = "-log-"
	mergeMark = "-merged-"
)

// logOf says whether a session was made by an import, and of which log.
func logOf(session string) (sum string, ok bool) {
	for _, mark := range []string{logMark, mergeMark} {
		if _, after, found := strings.Cut(session, mark); found {
			return after, true
		}
	}
	return "", false
}

// SessionJournal is the journal of a session that is made of a file, as a station
// would have written it that had heard it. It is in the folder of journals once it is whole.
type SessionJournal struct {
	*journal.Journal
	dir, temp string
}

// NewSessionJournal begins one in the folder of a data folder's journals, beside
// the others under the name temp until it is whole; what a crash has left there
// goes. Links are all that are configured; those of the session are taken.
func NewSessionJournal(data, temp string, s storage.Session, links []ingest.LinkConfig) (*SessionJournal, error) {
	links = slices.DeleteFunc(slices.Clone(links), func(l ingest.LinkConfig) bool { return !slices.Contains(s.Links, l.Name) })
	folder := filepath.Join(data, "journal")
	l := &SessionJournal{dir: folder, temp: filepath.Join(folder, temp)}
	if err := l.Drop(); err != nil {
		return nil, err
	}
	var err error
	l.Journal, err = journal.Create(l.temp, ingest.CaptureInfo{
		Station: s.Station, Epoch: s.Epoch, Links: ingest.CaptureLinks(links), Session: s.ID, Config: s.Config, Version: s.Version,
	})
	return l, err
}

// Write writes frames; what finds no room is an error.
func (l *SessionJournal) Write(f []ingest.Frame) error {
	if !l.Frames(f) {
		return l.State().Trouble
	}
	return nil
}

// Finish writes what was found in the frames and when the session ended, and puts
// the journal in its place.
func (l *SessionJournal) Finish(ctx context.Context, alarms []flight.Alarm, events []flight.Event, ended time.Duration) error {
	var errs []error
	for i := range alarms {
		errs = append(errs, l.Alarm(&alarms[i]))
	}
	for i := range events {
		errs = append(errs, l.Event(&events[i]))
	}
	if err := errors.Join(append(errs, l.Close(max(1, ended)))...); err != nil {
		return err
	}
	return journal.Keep(ctx, l.Path(), l.dir)
}

// Drop gives up what is not in its place.
func (l *SessionJournal) Drop() error {
	if l.Journal != nil {
		if err := errors.Join(l.Close(0), l.Release()); err != nil {
			return err
		}
	}
	return os.RemoveAll(l.temp)
}
