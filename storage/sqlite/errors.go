package sqlite

import (
	"errors"
	"fmt"
	"path/filepath"
	"syscall"

	"modernc.org/sqlite"
	lib "modernc.org/sqlite/lib"

	"padlark/storage"
	"padlark/storage/sqlite/block"
)

// Errors that tell what a person must mend. They are wrapped with the file and,
// where there is one, the cause.
var (
	// ErrFull is returned when the disk has no room. What was to be written is
	// not written at all, and the same call can be made again.
	ErrFull = errors.New("disk is full")
	// ErrDamaged is returned when the file is cut short or holds nonsense.
	ErrDamaged = errors.New("archive is damaged")
	// errNewer is returned for an archive that a newer padlark has written.
	errNewer = errors.New("archive is of a newer version")
	// ErrNotArchive is returned for a file that is something else.
	ErrNotArchive = errors.New("not a padlark archive")
	// errReadOnly is returned by writing methods after OpenReadOnly.
	errReadOnly = errors.New("archive is open for reading only")
)

// diskFull says whether the file system under path has less than a few pages
// left.
func diskFull(path string) bool {
	free, ok := storage.Free(filepath.Dir(path))
	return ok && free < 64<<10
}

// code is SQLite's primary result code of an error; 0 if it has none.
func code(err error) int {
	var e *sqlite.Error
	if errors.As(err, &e) {
		return e.Code() & 0xff
	}
	return 0
}

// explain wraps an error of SQLite with what it means for a person. The message
// says what was being done.
func explain(path, doing string, err error) error {
	if err == nil {
		return nil
	}
	var e *sqlite.Error
	full := errors.Is(err, syscall.ENOSPC)
	if errors.As(err, &e) {
		// A write that finds no room for the shared-memory or the WAL file comes
		// as an I/O error and not as SQLITE_FULL.
		full = full || e.Code() == lib.SQLITE_IOERR_SHMSIZE || e.Code() == lib.SQLITE_IOERR_WRITE && diskFull(path)
	}
	switch c := code(err); {
	case c == lib.SQLITE_FULL || full:
		return fmt.Errorf("%s in %s: %w; make room, nothing is lost: %w", doing, path, ErrFull, err)
	case c == lib.SQLITE_CORRUPT || errors.Is(err, block.ErrDamaged):
		return fmt.Errorf("%s in %s: %w; move the file aside and start again, then read what is left of it: %w", doing, path, ErrDamaged, err)
	case c == lib.SQLITE_NOTADB:
		return fmt.Errorf("%s in %s: %w: %w", doing, path, ErrNotArchive, err)
	}
	return fmt.Errorf("%s in %s: %w", doing, path, err)
}
