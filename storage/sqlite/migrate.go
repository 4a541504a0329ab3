package sqlite

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
)

// applicationID marks the file as ours: "PLRK" in ASCII.
const applicationID = 0x504C524B

//go:embed migrations/*.sql
var migrationFiles embed.FS

//go:embed views.sql
var viewsSQL string

// migrations returns the steps in order; step i leads to version i+1.
func migrations() ([]string, error) {
	names, err := fs.Glob(migrationFiles, "migrations/*.sql") // sorted
	if err != nil {
		return nil, fmt.Errorf("list migrations: %w", err)
	}
	out := make([]string, len(names))
	for i, n := range names {
		b, err := migrationFiles.ReadFile(n)
		if err != nil {
			return nil, fmt.Errorf("read migration: %w", err)
		}
		out[i] = string(b)
	}
	return out, nil
}

// checkVersion returns the file's version, 0 for a new one.
func checkVersion(ctx context.Context, db *sql.DB, path string) (int, error) {
	steps, err := migrations()
	if err != nil {
		return 0, err
	}
	var version, app, tables int
	if err := db.QueryRowContext(ctx, "PRAGMA user_version").Scan(&version); err != nil {
		return 0, explain(path, "open archive: read version", err)
	}
	if err := db.QueryRowContext(ctx, "PRAGMA application_id").Scan(&app); err != nil {
		return 0, explain(path, "open archive: read mark", err)
	}
	if err := db.QueryRowContext(ctx, "SELECT COUNT(*) FROM sqlite_schema").Scan(&tables); err != nil {
		return 0, explain(path, "open archive: read tables", err)
	}
	switch {
	case app != applicationID && (tables > 0 || version > 0):
		return 0, fmt.Errorf("open archive %s: %w: it is some other SQLite file", path, ErrNotArchive)
	case version > len(steps):
		return 0, fmt.Errorf("open archive %s: %w: it is version %d, this padlark knows up to %d; use the newer padlark", path, ErrNewer, version, len(steps))
	}
	return version, nil
}

// migrate brings the file to the present version, each step in one transaction.
func migrate(ctx context.Context, db *sql.DB, path string) error {
	version, err := checkVersion(ctx, db, path)
	if err != nil {
		return err
	}
	steps, err := migrations()
	if err != nil {
		return err
	}
	for v := version; v < len(steps); v++ {
		if err := step(ctx, db, v+1, steps[v], v+1 == len(steps)); err != nil {
			return explain(path, fmt.Sprintf("bring archive from version %d to %d", v, v+1), err)
		}
	}
	return nil
}

func step(ctx context.Context, db *sql.DB, to int, script string, last bool) error {
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	if last {
		script += viewsSQL
	}
	script += fmt.Sprintf(";PRAGMA application_id = %d; PRAGMA user_version = %d;", applicationID, to)
	if _, err := tx.ExecContext(ctx, script); err != nil {
		if undo := tx.Rollback(); !errors.Is(undo, sql.ErrTxDone) { // the end of ctx has rolled it back
			err = errors.Join(err, undo)
		}
		return err
	}
	return tx.Commit()
}
