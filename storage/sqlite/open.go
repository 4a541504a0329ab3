package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"sync"

	_ "modernc.org/sqlite" // the driver "sqlite"

	"padlark/storage"
	"padlark/storage/sqlite/block"
)

// FileName is the archive's name within the station's folder.
const FileName = "padlark.db"

// Options of an archive; the zero value is what a daemon wants.
type Options struct {
	// NoSync leaves out the fsync at each commit. For tests and for sessions on a
	// virtual clock, where losing power costs nothing but a second run.
	NoSync bool
	// Reserve is how many bytes Write leaves free on the disk; with less it
	// fails with ErrFull, so that the journal has room to go on without the archive.
	Reserve int64
	// Spare opens an archive also on a disk that is too full for it: it is elsewhere,
	// writing fails with ErrFull, and with the first write for which there is room it
	// moves. Away tells.
	Spare bool
}

// Archive is an open archive. All methods are safe for concurrent use; one
// goroutine writes at a time.
type Archive struct {
	path     string
	reserve  int64
	readOnly bool
	lock     *storage.Lock
	codec    *block.Codec
	w        *sql.DB // one connection, for writing
	r        *sql.DB // a few connections, for reading
	wHome    *home
	rHome    *home

	mu    sync.Mutex // guards writing
	ins   *inserter  // nil until the first write
	aside asideCount
	spare *spare // nil but for a disk that was full at the start

	stmtsMu sync.Mutex
	stmts   map[string]*sql.Stmt // of the readers; closing r closes them

	lost lossList
}

// Open opens the archive at path and makes it if it is not there. It brings an
// older file to the present version and refuses a newer one (errNewer). The
// file is locked: a second Open of any process fails with storage.ErrLocked.
func Open(ctx context.Context, path string, o Options) (*Archive, error) {
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return nil, fmt.Errorf("open archive: make folder: %w", err)
	}
	lock, err := storage.LockFile(path + ".lock")
	if err != nil {
		return nil, fmt.Errorf("open archive: %w; stop that one, or give this one another [station] data", err)
	}
	codec, err := block.NewCodec()
	if err != nil {
		return nil, errors.Join(err, lock.Unlock())
	}
	a := &Archive{path: path, lock: lock, codec: codec, reserve: o.Reserve}
	err = a.open(ctx, path, o)
	if o.Spare && errors.Is(err, ErrFull) {
		_ = a.closeFiles() // nothing was written
		err = a.openSpare(ctx, o)
	}
	if err != nil {
		return nil, errors.Join(err, a.Close())
	}
	return a, nil
}

func (a *Archive) open(ctx context.Context, path string, o Options) error {
	// synchronous=FULL: in WAL mode NORMAL would leave the newest commits in the
	// kernel's cache: a power cut would take the notes and the time fixes that
	// people have just made.
	sync := "FULL"
	if o.NoSync {
		sync = "OFF"
	}
	var err error
	a.w, a.wHome, err = openMovable(dsn(path, "rwc",
		"busy_timeout(10000)", "journal_mode(WAL)", "synchronous("+sync+")", "foreign_keys(ON)",
		// Checkpoint at 4 MiB instead of 4 MB/4: fewer pages are written twice
		// to a memory card, and a WAL of that size is recovered in no time.
		"wal_autocheckpoint(1000)",
		// After a checkpoint the WAL is cut back to this, so that one burst does
		// not hold disk space for ever.
		"journal_size_limit(16777216)"))
	if err != nil {
		return explain(path, "open archive", err)
	}
	a.w.SetMaxOpenConns(1)
	if err := migrate(ctx, a.w, path, changes()); err != nil {
		return err
	}
	return a.openReaders(path, "rw", "busy_timeout(10000)", "query_only(ON)")
}

func (a *Archive) openReaders(path, mode string, pragmas ...string) error {
	var err error
	if a.r, a.rHome, err = openMovable(dsn(path, mode, pragmas...)); err != nil {
		return explain(path, "open archive", err)
	}
	a.r.SetMaxOpenConns(4)
	return nil
}

// OpenReadOnly opens an archive without touching it, also while a daemon writes
// to it, and also one that is damaged: the reading methods then give what can
// be read, and Lost says what could not. One of an older version (ErrOlder) is
// for Open first.
func OpenReadOnly(path string) (*Archive, error) {
	st, err := os.Stat(path)
	switch {
	case err != nil:
		return nil, fmt.Errorf("open archive: %w", err)
	case st.Size() == 0:
		return nil, fmt.Errorf("open archive %s: %w: the file is empty", path, ErrNotArchive)
	}
	codec, err := block.NewCodec()
	if err != nil {
		return nil, fmt.Errorf("open archive: %w", err)
	}
	a := &Archive{path: path, codec: codec, readOnly: true}
	// writable_schema=ON makes SQLite open a file that is shorter than its header
	// says, instead of refusing the whole of it; nothing can be written through
	// this connection.
	pragmas := []string{"busy_timeout(10000)", "query_only(ON)", "writable_schema(ON)"}
	if err := a.openReaders(path, "ro", pragmas...); err != nil {
		return nil, err
	}
	v, err := checkVersion(context.Background(), a.r, path, firstVersion+len(changes()))
	if err == nil && v == 0 {
		err = fmt.Errorf("open archive %s: %w: it holds nothing", path, ErrNotArchive)
	}
	if err == nil {
		err = mustBePresent(path, v)
	}
	if err != nil {
		return nil, errors.Join(err, a.Close())
	}
	if err := a.noteCut(st.Size()); err != nil {
		return nil, err
	}
	return a, nil
}

// noteCut notes when the file ends within a page: SQLite fills the rest of that
// page with zeros and may then show a row too few or a changed one.
func (a *Archive) noteCut(size int64) error {
	var page int64
	if err := a.r.QueryRow("PRAGMA page_size").Scan(&page); err != nil {
		return errors.Join(explain(a.path, "open archive: read page size", err), a.Close())
	}
	if page > 0 && size%page != 0 {
		a.lost.add(Loss{Table: "file", Note: fmt.Sprintf("it is cut off within a page, after %d bytes; rows at the cut may be missing or changed", size)})
	}
	return nil
}

// dsn is the driver's name for a file; the path may hold any character.
func dsn(path, mode string, pragmas ...string) string {
	q := url.Values{"mode": {mode}, "_pragma": pragmas}
	u := url.URL{Scheme: "file", Opaque: (&url.URL{Path: filepath.ToSlash(path)}).EscapedPath(), RawQuery: q.Encode()}
	return u.String()
}

// Path is the archive's file.
func (a *Archive) Path() string { return a.path }

// Close closes the file and gives up the lock. Closing twice is harmless.
func (a *Archive) Close() error {
	a.mu.Lock()
	defer a.mu.Unlock()
	errs := []error{a.closeFiles()}
	if a.spare != nil {
		errs = append(errs, os.RemoveAll(a.spare.folder))
		a.spare = nil
	}
	// The codec is left to the garbage collector: it has no goroutines, and a
	// reader that is still under way must get an error of the closed file, not a
	// codec that is gone.
	errs = append(errs, a.lock.Unlock())
	a.lock = nil
	if err := errors.Join(errs...); err != nil {
		return fmt.Errorf("close archive %s: %w", a.path, err)
	}
	return nil
}

func (a *Archive) closeFiles() error {
	var errs []error
	if a.ins != nil {
		errs = append(errs, a.ins.close())
		a.ins = nil
	}
	if a.r != nil {
		errs = append(errs, a.r.Close())
	}
	if a.w != nil {
		errs = append(errs, a.w.Close())
	}
	return errors.Join(errs...)
}
