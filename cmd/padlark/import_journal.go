package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"time"

	"padlark/cmd/padlark/config"
	"padlark/cmd/padlark/station"
	"padlark/ingest"
	"padlark/storage/journal"
	"padlark/storage/sqlite"
)

// journalFolder is where a station with its data in dir keeps the journals.
func journalFolder(dir string) string { return filepath.Join(dir, "journal") }

// importJournal brings the session of a journal that was copied from another
// computer into the archive and keeps the journal. What is there already stays as
// it is.
func importJournal(ctx context.Context, path, dir string, cio *cmdIO) error {
	a, err := openArchive(ctx, dir)
	if err != nil {
		return err
	}
	session, err := bringIn(ctx, a, path, dir, cio.Err)
	if err != nil {
		err = fmt.Errorf("import journal: %w", err)
	} else {
		fmt.Fprintf(cio.Out, "session %s is in %s\n", session, dir)
	}
	return errors.Join(err, a.Close())
}

func bringIn(ctx context.Context, a *sqlite.Archive, path, dir string, warn io.Writer) (session string, err error) {
	r, err := journal.Open(path, nil)
	if err != nil {
		return "", err
	}
	_ = r.Close() // only read from
	session = r.Info().Session
	before, err := a.JournalPlace(ctx, session)
	if err != nil {
		return "", err
	}
	torn, err := station.BringIn(ctx, a, path)
	if err != nil {
		return "", err
	}
	if torn > 0 {
		fmt.Fprintln(warn, "padlark: "+station.TornWords(torn))
	}
	after, err := a.JournalPlace(ctx, session)
	if err != nil {
		return "", err
	}
	if _, err := os.Stat(filepath.Join(journalFolder(dir), session+journal.Suffix)); err == nil {
		return session, nil // the station's own, which is the longest
	}
	_, err = os.Stat(filepath.Join(journalFolder(dir), session+journal.Packed))
	if err == nil && after == before {
		return session, nil
	}
	return session, journal.Keep(ctx, path, journalFolder(dir))
}

// logJournal writes the journal of an imported session, as a station would have
// that had heard it. It is in the folder of journals once it is whole.
type logJournal struct {
	*journal.Journal
	dir, temp string
}

// newLogJournal begins one. The archive's lock sees to it that nobody else does.
func newLogJournal(dir string, s sqlite.Session, cfg *config.Config) (*logJournal, error) {
	links := slices.DeleteFunc(slices.Clone(cfg.Links), func(l ingest.LinkConfig) bool { return !slices.Contains(s.Links, l.Name) })
	l := &logJournal{dir: journalFolder(dir), temp: filepath.Join(journalFolder(dir), "importing")}
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
func (l *logJournal) frames(f []ingest.Frame) error {
	if !l.Frames(f) {
		return l.State().Trouble
	}
	return nil
}

// finish writes what was found in the frames, and puts the journal in its place.
func (l *logJournal) finish(ctx context.Context, p *player) error {
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
func (l *logJournal) drop() error {
	if l.Journal != nil {
		if err := errors.Join(l.Close(0), l.Release()); err != nil {
			return err
		}
	}
	return os.RemoveAll(l.temp)
}
