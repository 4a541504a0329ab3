package station

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"padlark/storage/sqlite"
)

// openArchive opens the archive. One that is damaged, or a disk without a byte of
// room, must not keep anybody from being warned: the first is set aside and made
// anew from the journals, for the second there is a spare one until there is room.
func (s *station) openArchive(ctx context.Context) error {
	o := sqlite.Options{NoSync: s.recorded(), Reserve: roomReserve, Spare: !s.recorded()}
	path := filepath.Join(s.cfg.Station.Data, sqlite.FileName)
	var err error
	s.archive, err = sqlite.Open(ctx, path, o)
	switch {
	case err == nil || ctx.Err() != nil:
	case errors.Is(err, sqlite.ErrDamaged), errors.Is(err, sqlite.ErrNotArchive):
		aside, serr := setAside(path, time.Now())
		if serr != nil {
			return errors.Join(err, serr)
		}
		s.log.Error().Err(err).Msg("the archive is damaged: it is set aside as " + aside + ", and a new one is made from the journals")
		s.archiveAnew = true
		s.archive, err = sqlite.Open(ctx, path, o)
	}
	if err == nil && s.archive.Away() {
		s.log.Error().Msg("the disk is full, not even the archive can be opened: rockets are watched, and archiving begins by itself when there is room")
	}
	return err
}

// setAside renames an archive with what belongs to it.
func setAside(path string, now time.Time) (aside string, err error) {
	aside = fmt.Sprintf("%s.damaged-%s", path, now.UTC().Format("20060102-150405"))
	for _, suffix := range []string{"-wal", "-shm", ""} {
		if rerr := os.Rename(path+suffix, aside+suffix); rerr != nil && !errors.Is(rerr, os.ErrNotExist) {
			err = errors.Join(err, rerr)
		}
	}
	if err != nil {
		return "", fmt.Errorf("set the archive aside: %w", err)
	}
	return aside, nil
}

// runWriter brings the journal into the archive. An archive that is given up
// while rockets are watched is no reason to stop watching them.
func (s *station) runWriter(ctx context.Context) error {
	if err := s.writer.Run(ctx); err != nil {
		s.log.Error().Err(err).Msg("nothing more is archived; the journal has it all, and the next start makes the archive from it")
	}
	return nil
}
