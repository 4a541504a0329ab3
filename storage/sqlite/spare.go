package sqlite

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync/atomic"

	"padlark/storage"
)

// A station that starts on a disk without a byte of room needs an archive all the
// same: its pages and its follower are made for one. Then there is a spare one in
// another folder, which holds nothing but the sessions that began in it, and whose
// connections move to the real file as soon as there is room. The journal has
// everything that is to be written there.

// home is where new connections of a pool lead to.
type home struct {
	of  driver.Driver
	dsn atomic.Pointer[string]
}

// openMovable is sql.Open, for connections that may move.
func openMovable(name string) (*sql.DB, *home, error) {
	db, err := sql.Open("sqlite", name)
	if err != nil {
		return nil, nil, err
	}
	h := &home{of: db.Driver()}
	h.dsn.Store(&name)
	return sql.OpenDB(h), h, db.Close()
}

// Connect opens a connection, for package sql.
func (h *home) Connect(context.Context) (driver.Conn, error) { return h.of.Open(*h.dsn.Load()) }

// Driver is SQLite's.
func (h *home) Driver() driver.Driver { return h.of }

// idleConns is how many connections package sql keeps by default.
const idleConns = 2

// spare is the archive beside a full disk.
type spare struct {
	folder   string
	options  Options           // of the real one
	sessions []storage.Session // begun meanwhile
	moved    bool              // only readers' connections may still lead to it
}

// openSpare opens a new archive in the folder for temporary files.
func (a *Archive) openSpare(ctx context.Context, o Options) error {
	folder, err := os.MkdirTemp("", "padlark-")
	if err != nil {
		return fmt.Errorf("open a spare archive: %w", err)
	}
	a.spare = &spare{folder: folder, options: o}
	return a.open(ctx, filepath.Join(folder, FileName), Options{NoSync: true})
}

// Away says whether the disk was so full at the start that the archive could not be
// opened yet.
func (a *Archive) Away() bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.away()
}

func (a *Archive) away() bool { return a.spare != nil && !a.spare.moved }

// startAway starts a session in the spare archive, and remembers it for the real one;
// false if there is no spare one.
func (a *Archive) startAway(ctx context.Context, s storage.Session, doing string, fn func(*inserter) error) (bool, error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if !a.away() {
		return false, nil
	}
	a.spare.sessions = append(a.spare.sessions, s)
	return true, a.writeHere(ctx, doing, fn)
}

// comeHome moves to the real archive if there is room again. The error wraps
// ErrFull if there is not. The caller holds a.mu.
func (a *Archive) comeHome(ctx context.Context) error {
	if a.spare == nil {
		return nil
	}
	if a.spare.moved {
		// Readers that were under way have closed their connections when they were done.
		if a.r.Stats().OpenConnections > 0 {
			return nil
		}
		a.r.SetMaxIdleConns(idleConns)
		folder := a.spare.folder
		a.spare = nil
		return os.RemoveAll(folder)
	}
	if free, ok := storage.Free(filepath.Dir(a.path)); ok && free < a.reserve {
		return ErrFull
	}
	real := &Archive{path: a.path, codec: a.codec}
	if err := real.open(ctx, a.path, a.spare.options); err != nil {
		return errors.Join(err, real.Close())
	}
	var errs []error
	for _, s := range a.spare.sessions {
		errs = append(errs, real.StartSession(ctx, s))
	}
	if err := errors.Join(append(errs, real.Close())...); err != nil {
		return err
	}
	if a.ins != nil {
		_ = a.ins.close() // of the spare archive
		a.ins = nil
	}
	a.wHome.dsn.Store(real.wHome.dsn.Load())
	a.rHome.dsn.Store(real.rHome.dsn.Load())
	a.w.SetMaxIdleConns(0) // closes them
	a.w.SetMaxIdleConns(idleConns)
	a.r.SetMaxIdleConns(0) // closes also those that are in use now, later
	a.spare.moved = true
	return nil
}
