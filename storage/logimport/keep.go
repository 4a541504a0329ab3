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
	j, err := newSessionJournal(m.Dir, s, cfg)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, j.drop()) }()
	p := &player{cfg: cfg, id: s.ID, epoch: s.Epoch}
	p.rows = func(r sqlite.Rows) error {
		if m.stored += int64(len(r.Frames)); m.Stored != nil {
			m.Stored(m.stored)
		}
		if err := j.frames(r.Frames); err != nil {
			return err
		}
		return m.Archive.WriteRows(ctx, r)
	}
	if err := p.play(ctx, frames); err != nil {
		return nil, err
	}
	if err := j.finish(ctx, p); err != nil {
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

// LogOf says whether a session was made by an import, and of which log.
func LogOf(session string) (sum string, ok bool) {
	for _, mark := range []string{logMark, mergeMark} {
		if _, after, found := strings.Cut(session, mark); found {
			return after, true
		}
	}
	return "", false
}

// sessionJournal writes the journal of an imported session, as a station would have
// that had heard it. It is in the folder of journals once it is whole.
type sessionJournal struct {
	*journal.Journal
	dir, temp string
}

// newSessionJournal begins one. The archive's lock sees to it that nobody else does.
func newSessionJournal(dir string, s storage.Session, cfg *Configured) (*sessionJournal, error) {
	links := slices.DeleteFunc(slices.Clone(cfg.Links), func(l ingest.LinkConfig) bool { return !slices.Contains(s.Links, l.Name) })
	folder := filepath.Join(dir, "journal")
	l := &sessionJournal{dir: folder, temp: filepath.Join(folder, "importing")}
	if err := l.drop(); err != nil { // what a crash has left
		return nil, err
	}
	var err error
	l.Journal, err = journal.Create(l.temp, ingest.CaptureInfo{
		Station: s.Station, Epoch: s.Epoch, Links: ingest.CaptureLinks(links), Session: s.ID, Config: s.Config, Version: s.Version,
	})
	return l, err
}

// frames writes frames; what finds no room is an error.
func (l *sessionJournal) frames(f []ingest.Frame) error {
	if !l.Frames(f) {
		return l.State().Trouble
	}
	return nil
}

// finish writes what was found in the frames, and puts the journal in its place.
func (l *sessionJournal) finish(ctx context.Context, p *player) error {
	var errs []error
	for i := range p.alarms {
		errs = append(errs, l.Alarm(&p.alarms[i]))
	}
	for i := range p.events {
		errs = append(errs, l.Event(&p.events[i]))
	}
	if err := errors.Join(append(errs, l.Close(max(1, time.Duration(p.end()))))...); err != nil {
		return err
	}
	return journal.Keep(ctx, l.Path(), l.dir)
}

// drop gives up what is not in its place.
func (l *sessionJournal) drop() error {
	if l.Journal != nil {
		if err := errors.Join(l.Close(0), l.Release()); err != nil {
			return err
		}
	}
	return os.RemoveAll(l.temp)
}
