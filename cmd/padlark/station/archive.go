package station

import (
	"context"
	"errors"
	"path/filepath"

	"padlark/flight"
	"padlark/flight/alarm"
	"padlark/flight/phrase"
	"padlark/storage/sqlite"
)

// openArchive opens the archive. One that is damaged, or a disk without a byte of
// room, must not keep anybody from being warned: the first is set aside and made
// anew, for the second there is a spare one until there is room.
func (s *station) openArchive(ctx context.Context) error {
	o := sqlite.Options{NoSync: s.recorded(), Reserve: roomReserve, Spare: !s.recorded()}
	path := s.archivePath()
	s.setAside()
	if err := s.missed(); err != nil {
		return err
	}
	var err error
	s.archive, err = sqlite.Open(ctx, path, o)
	if ctx.Err() == nil && damaged(err) {
		if err = s.giveUpArchive(err); err == nil {
			s.archive, err = sqlite.Open(ctx, path, o)
		}
	}
	if err == nil && s.archive.Away() {
		s.log.Error().Msg("the disk is full, not even the archive can be opened: rockets are watched, and archiving begins by itself when there is room")
	}
	return err
}

func (s *station) archivePath() string { return filepath.Join(s.cfg.Station.Data, sqlite.FileName) }

// damaged says whether an error means that the archive is of no use any more.
func damaged(err error) bool {
	return errors.Is(err, sqlite.ErrDamaged) || errors.Is(err, sqlite.ErrNotArchive)
}

// runWriter brings the journal into the archive. An archive that is given up
// while rockets are watched is no reason to stop watching them.
func (s *station) runWriter(ctx context.Context) error {
	err := s.writer.Run(ctx)
	if err == nil {
		return nil
	}
	s.log.Error().Err(err).Msg("nothing more is archived; the journal has it all, and the next start makes the archive from it")
	if damaged(err) {
		s.archiveDamaged()
	}
	return nil
}

// archiveDamaged has the next start set the archive aside, which is in use now.
func (s *station) archiveDamaged() {
	if _, err := s.markDamaged(); err != nil {
		s.log.Error().Err(err).Msg("the next start will not know that the archive is damaged: move it away before")
	}
	file := phrase.Word("file", s.archive.Path())
	s.own.Raise(alarm.DiskFull, flight.Act, phrase.Of("disk-full.damaged.say"), phrase.Of("disk-full.damaged", file))
}
