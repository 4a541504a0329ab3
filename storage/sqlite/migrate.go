package sqlite

import (
	"context"
	"database/sql"
	_ "embed"
	"errors"
	"fmt"
)

// applicationID marks the file as ours: "PLRK" in ASCII.
const applicationID = 0x504C524B

// firstVersion is the version of an archive that schema.sql has made.
const firstVersion = 10

var (
	//go:embed schema.sql
	schemaSQL string
	//go:embed views.sql
	viewsSQL string
)

// ErrOlder is returned by OpenBeside and OpenReadOnly for an archive of an older
// version. Open brings it up to date.
var ErrOlder = errors.New("archive is of an older version")

// changes are the steps since the first version, in order, each as SQL: the
// first leads from firstVersion to the next one. Never change one that was given
// out; views.sql is run again after the last.
func changes() []string { return nil }

// checkVersion returns the file's version, 0 for a new one.
func checkVersion(ctx context.Context, db *sql.DB, path string, present int) (int, error) {
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
	case version > present:
		return 0, fmt.Errorf("open archive %s: %w: it is version %d, this padlark knows up to %d; use the newer padlark", path, errNewer, version, present)
	case version > 0 && version < firstVersion:
		return 0, fmt.Errorf("open archive %s: %w: it is of a trial version (%d); move it aside and import its captures", path, ErrNotArchive, version)
	}
	return version, nil
}

// migrate makes the tables of a new file, or brings an older one to the present
// version, each step in one transaction.
func migrate(ctx context.Context, db *sql.DB, path string, changes []string) error {
	present := firstVersion + len(changes)
	version, err := checkVersion(ctx, db, path, present)
	if err != nil {
		return err
	}
	for v := version; v < present; v++ {
		script := schemaSQL
		if v == 0 {
			v = firstVersion - 1
		} else {
			script = changes[v-firstVersion]
		}
		if err := step(ctx, db, v+1, script, v+1 == present); err != nil {
			return explain(path, fmt.Sprintf("bring archive to version %d", v+1), err)
		}
	}
	return nil
}

// mustBePresent refuses an archive that Open has not brought to this version.
func mustBePresent(path string, version int) error {
	if version < firstVersion+len(changes()) {
		return fmt.Errorf("open archive %s: %w", path, ErrOlder)
	}
	return nil
}

func step(ctx context.Context, db *sql.DB, to int, script string, last bool) error {
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	if last {
		script += ";\n" + viewsSQL
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
