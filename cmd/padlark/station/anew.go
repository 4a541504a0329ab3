package station

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"padlark/storage"
	"padlark/storage/bundle"
	"padlark/storage/journal"
	"padlark/storage/sqlite"
)

// A damaged archive is set aside, and a new one is made in its place: from the
// journals, and from what can still be read of the old one, which alone has what
// people said and the sessions that came from elsewhere. With a season in it that
// takes minutes, so it is done beside the watch, and the next start goes on with it.
//
// anewSuffix is that of a file beside the archive, there until all is in, which names
// each archive that is set aside or that the next start is to set aside, one a line;
// none, if the archive was only missing.
const (
	anewSuffix = ".anew"
	anewLook   = 5 * time.Second // how often it is looked whether something still flies
)

// asides are the archives that the new one is made of; anew says whether one is made.
func (s *station) asides() (paths []string, anew bool, err error) {
	text, err := os.ReadFile(s.archivePath() + anewSuffix)
	if errors.Is(err, os.ErrNotExist) {
		return nil, false, nil
	}
	for _, name := range strings.Fields(string(text)) {
		paths = append(paths, filepath.Join(s.cfg.Station.Data, filepath.Base(name)))
	}
	return paths, err == nil, err
}

// markDamaged notes under which name the archive is to be set aside.
func (s *station) markDamaged() (aside string, err error) {
	aside = fmt.Sprintf("%s.damaged-%s", s.archivePath(), time.Now().UTC().Format("20060102-150405.000"))
	f, err := os.OpenFile(s.archivePath()+anewSuffix, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o644)
	if err != nil {
		return aside, err
	}
	_, err = fmt.Fprintln(f, filepath.Base(aside))
	return aside, errors.Join(err, f.Sync(), f.Close())
}

// setAside moves an archive that was marked to where it is to be.
func (s *station) setAside() {
	asides, _, err := s.asides()
	if err == nil && len(asides) > 0 {
		if last := asides[len(asides)-1]; !isThere(last) {
			err = s.moveAside(last)
		}
	}
	if err != nil {
		s.log.Error().Err(err).Msg("the archive was damaged before and is used all the same")
	}
}

func isThere(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

// moveAside moves the archive, with what belongs to it.
func (s *station) moveAside(aside string) error {
	path := s.archivePath()
	lock, err := storage.LockFile(path + ".lock")
	if err != nil {
		return fmt.Errorf("set the archive aside: %w", err)
	}
	for _, suffix := range []string{"-wal", "-shm", ""} {
		if rerr := os.Rename(path+suffix, aside+suffix); rerr != nil && !errors.Is(rerr, os.ErrNotExist) {
			err = errors.Join(err, rerr)
		}
	}
	if err = errors.Join(err, lock.Unlock()); err != nil {
		return fmt.Errorf("set the archive aside: %w", err)
	}
	s.log.Error().Msg("the archive is damaged: it is set aside as " + aside + ", and a new one is made from the journals and from what can be read of it")
	return nil
}

// giveUpArchive sets an archive aside that is found to be damaged and is closed.
func (s *station) giveUpArchive(why error) error {
	s.log.Error().Err(why).Msg("the archive")
	aside, err := s.markDamaged()
	if err != nil {
		s.log.Error().Err(err).Msg("what can be read of the damaged archive stays in it")
	}
	return s.moveAside(aside)
}

// again is the station once more, after a start that has found the archive damaged.
func (s *station) again(why error) (*station, error) {
	if err := s.close(); err != nil {
		s.log.Warn().Err(err).Msg("the archive that is damaged")
	}
	if s.journal != nil && !s.resumed {
		_ = os.Remove(s.journal.Path()) // it holds nothing yet
	}
	return newStation(s.opt), s.giveUpArchive(why)
}

// missed notes that an archive is to be made anew where there are journals and none.
func (s *station) missed() error {
	if st, err := os.Stat(s.archivePath()); err == nil && st.Size() > 0 {
		return nil
	}
	paths, err := journal.List(s.journals())
	if err != nil || len(paths) == 0 {
		return err
	}
	f, err := os.OpenFile(s.archivePath()+anewSuffix, os.O_CREATE|os.O_WRONLY, 0o644)
	if err != nil {
		return nil // on a full disk there is none to be made
	}
	return f.Close()
}

// makeAnew brings into a new archive what it is made of, and compresses the journals
// of sessions that are over.
func (s *station) makeAnew(ctx context.Context) error {
	asides, anew, err := s.asides()
	if err != nil {
		s.log.Error().Err(err).Msg("what the archive is to be made of is not known")
	}
	if anew {
		if !s.bringAll(ctx) {
			return nil
		}
		s.caughtUp(ctx)
		for _, aside := range asides {
			if err := s.rescue(ctx, aside); err != nil && ctx.Err() == nil {
				s.log.Error().Err(err).Msg("not all could be read of the damaged archive " + aside +
					": what people said in it (notes, void flights, corrections, times), checkups and imported sessions are in it and in backups only")
			}
		}
		if ctx.Err() != nil {
			return nil
		}
		if err := os.Remove(s.archivePath() + anewSuffix); err != nil {
			s.log.Warn().Err(err).Msg("the next start makes the archive once more")
		}
		s.log.Info().Msg("the archive is made anew")
	}
	return s.packEarlier(ctx)
}

// bringAll brings all earlier sessions in, as soon as nothing flies; false if ctx has
// ended before.
func (s *station) bringAll(ctx context.Context) bool {
	t := time.NewTicker(anewLook)
	defer t.Stop()
	for {
		all, err := s.bringIn(ctx, true)
		if err != nil && ctx.Err() == nil {
			s.log.Error().Err(err).Msg("the archive is not whole; the next start goes on with it")
			return false
		}
		if all {
			return true
		}
		select {
		case <-t.C:
		case <-ctx.Done():
			return false
		}
	}
}

// caughtUp waits until what a session that goes on had before is in the archive.
func (s *station) caughtUp(ctx context.Context) {
	for s.rebuilt != nil && ctx.Err() == nil {
		state, changed := s.writer.State()
		if state.Place >= s.rebuilt.end || damaged(state.Trouble) {
			return
		}
		select {
		case <-changed:
		case <-ctx.Done():
		}
	}
}

// rescue copies what the journals do not have from a damaged archive.
func (s *station) rescue(ctx context.Context, aside string) error {
	old, err := sqlite.OpenReadOnly(aside)
	if err != nil {
		return err
	}
	defer old.Close() //nolint:errcheck // it was only read from
	checkups, err := old.Checkups(ctx, "")
	errs := []error{err}
	for _, c := range checkups {
		errs = append(errs, s.archive.AddCheckup(ctx, c))
	}
	sessions, err := old.Sessions(ctx)
	errs = append(errs, err)
	for _, one := range sessions {
		if ctx.Err() != nil {
			break
		}
		_, err := s.archive.Session(ctx, one.ID)
		if errors.Is(err, storage.ErrNoSession) {
			err = s.copySession(ctx, old, one.ID)
		} else if err == nil {
			err = bundle.CopyRemarks(ctx, old, s.archive, one.ID)
		}
		if err != nil {
			errs = append(errs, fmt.Errorf("session %s: %w", one.ID, err))
		}
	}
	for _, lost := range old.Lost() {
		errs = append(errs, errors.New(lost.String()))
	}
	return errors.Join(errs...)
}

// copySession copies a session that no journal has.
func (s *station) copySession(ctx context.Context, from *sqlite.Archive, id string) error {
	f, err := os.CreateTemp(s.cfg.Station.Data, "anew-*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name()) //nolint:errcheck // at the worst it lies about
	_, err = bundle.Write(ctx, f, from, id, nil)
	if err = errors.Join(err, f.Close()); err != nil {
		return err
	}
	b, err := bundle.Open(f.Name())
	if err != nil {
		return err
	}
	return errors.Join(b.Import(ctx, s.archive, nil), b.Close())
}
