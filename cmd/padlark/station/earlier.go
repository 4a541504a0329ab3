package station

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"padlark/cmd/padlark/config"
	"padlark/storage"
	"padlark/storage/journal"
	"padlark/storage/sqlite"
)

// bringIn moves into the archive what earlier sessions have left in their
// journals, all but the one that goes on; packed ones too, if the archive is made
// anew. A journal that cannot be read is set aside and told; that must not keep a
// station from starting. A full disk and a rocket in the air, which is to be watched at
// once, leave the rest to later: then it is not all.
func (s *station) bringIn(ctx context.Context, packed bool) (all bool, err error) {
	paths, err := journal.List(s.journals())
	if err != nil {
		return false, err
	}
	for _, path := range paths {
		if strings.HasSuffix(path, journal.Packed) && !packed || path == s.journal.Path() {
			continue
		}
		if s.flying() || s.archive.Away() {
			return false, nil
		}
		torn, err := BringIn(ctx, s.archive, path)
		if torn > 0 {
			s.log.Warn().Str("session", journal.SessionOf(path)).Msg(TornWords(torn))
		}
		switch {
		case err == nil && !strings.HasSuffix(path, journal.Packed):
			s.toPack = append(s.toPack, path)
		case err == nil:
		case ctx.Err() != nil:
			return false, ctx.Err()
		case errors.Is(err, sqlite.ErrFull):
			s.log.Error().Err(err).Msg("an earlier session is not all in the archive; the next start goes on with it")
			return false, nil
		case !errors.As(err, new(journalError)):
			return false, err
		default:
			aside := path + ".damaged"
			err = errors.Join(err, os.Rename(path, aside))
			s.log.Error().Err(err).Msg("the journal of an earlier session cannot be read to its end; what is before that is in the archive, and the file is set aside as " + aside)
		}
	}
	return true, nil
}

// journalError is an error of a journal, and none of the archive that it goes to.
type journalError struct{ error }

// Unwrap gives the error itself.
func (e journalError) Unwrap() error { return e.error }

// batchOfEarlier is how many entries of an earlier session are stored at once.
const batchOfEarlier = 8192

// BringIn moves into the archive what a session's journal has and the archive
// has not. What could be read before an error is stored all the same. torn is how
// many bytes at its end are no whole record.
func BringIn(ctx context.Context, a *sqlite.Archive, path string) (torn int64, err error) {
	session, cfg, err := describeJournal(path)
	if err != nil {
		return 0, journalError{err}
	}
	decoder, err := newFollowing(cfg, config.ParseHere)
	if err != nil {
		return 0, journalError{err}
	}
	r, err := journal.Open(path, decoder)
	if err != nil {
		return 0, journalError{err}
	}
	defer r.Close() //nolint:errcheck // it was only read from
	had, err := a.Session(ctx, session.ID)
	if errors.Is(err, storage.ErrNoSession) {
		err = a.StartSession(ctx, session)
	}
	if err != nil {
		return 0, err
	}
	place, err := a.JournalPlace(ctx, session.ID)
	if err != nil {
		return 0, err
	}
	if err := bringEntries(ctx, a, r, session.ID, place); err != nil {
		return 0, err
	}
	if decoder.cfg != cfg { // it is described by what it came to
		info := r.Info()
		info.Config = session.Config
		if err := a.StartSession(ctx, describe(info, decoder.cfg)); err != nil {
			return 0, err
		}
	}
	if r.Ended() > 0 && had.Ended.IsZero() {
		err = a.EndSession(ctx, session.ID, session.Epoch.Add(r.Ended()))
	}
	return r.Torn(), err
}

// TornWords tell people of what a journal's end has lost.
func TornWords(bytes int64) string {
	return fmt.Sprintf("the last %d bytes of the journal are no whole record, as after a loss of power: what they held is lost", bytes)
}

func bringEntries(ctx context.Context, a *sqlite.Archive, r *journal.Reader, session string, place int64) error {
	var batch []storage.Entry
	for {
		e, err := r.Next()
		if err == nil && int64(e.Seq) > place {
			batch = append(batch, e)
		}
		if err != nil || len(batch) == batchOfEarlier {
			if werr := a.Follow(ctx, session, r.Pos(), batch); werr != nil {
				return errors.Join(werr, ctx.Err())
			}
			batch = batch[:0]
		}
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return journalError{err}
		}
	}
}

// describeJournal is the session of a journal, and its configuration.
func describeJournal(path string) (storage.Session, *config.Config, error) {
	r, err := journal.Open(path, nil)
	if err != nil {
		return storage.Session{}, nil, err
	}
	defer r.Close() //nolint:errcheck // it was only read from
	info := r.Info()
	cfg, err := config.ParseHere("configuration in "+path, []byte(info.Config))
	if err != nil {
		return storage.Session{}, nil, fmt.Errorf("%s: %w", path, err)
	}
	return describe(info, cfg), cfg, nil
}

// packEarlier compresses the journals of sessions that are over.
func (s *station) packEarlier(ctx context.Context) error {
	for _, path := range s.toPack {
		if _, err := journal.Pack(ctx, path); err != nil && ctx.Err() == nil {
			s.log.Warn().Err(err).Msg("a journal stays as it is")
		}
	}
	return nil
}

// KeepCopy brings the session of a journal that was copied from another computer
// into the archive, and keeps the journal in the data folder dir. What is there
// already stays as it is. torn is as in BringIn.
func KeepCopy(ctx context.Context, a *sqlite.Archive, path, dir, session string) (torn int64, err error) {
	before, err := a.JournalPlace(ctx, session)
	if err != nil {
		return 0, err
	}
	if torn, err = BringIn(ctx, a, path); err != nil {
		return torn, err
	}
	after, err := a.JournalPlace(ctx, session)
	if err != nil {
		return torn, err
	}
	folder := filepath.Join(dir, "journal")
	if _, err := os.Stat(filepath.Join(folder, session+journal.Suffix)); err == nil {
		return torn, nil // the station's own, which is the longest
	}
	_, err = os.Stat(filepath.Join(folder, session+journal.Packed))
	if err == nil && after == before {
		return torn, nil
	}
	return torn, journal.Keep(ctx, path, folder)
}
