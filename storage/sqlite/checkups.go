package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"time"

	"padlark/storage/sqlite/block"
)

// Checkup is one bench test of a rocket's board.
type Checkup struct {
	ID      int64 // given by the archive
	Rocket  string
	At      time.Time // when it began, UTC
	Verdict string
	Version string // of padlark
	Report  []byte // JSON, as package flight/bench writes it
}

// AddCheckup stores a checkup. One of the same rocket and moment is replaced.
func (a *Archive) AddCheckup(ctx context.Context, c Checkup) error {
	return a.write(ctx, "store checkup of "+c.Rocket, func(in *inserter) error {
		_, err := in.exec(ctx, `INSERT INTO checkups (rocket, at_ns, verdict, version, report) VALUES (?, ?, ?, ?, ?)
			ON CONFLICT (rocket, at_ns) DO UPDATE SET verdict = excluded.verdict, version = excluded.version, report = excluded.report`,
			c.Rocket, c.At.UnixNano(), c.Verdict, c.Version, string(c.Report))
		return err
	})
}

// Checkups lists the checkups of a rocket, or of all when rocket is empty,
// oldest first.
func (a *Archive) Checkups(ctx context.Context, rocket string) ([]Checkup, error) {
	const doing = "read checkups"
	var out []Checkup
	err := each(ctx, a.r, `SELECT id, rocket, at_ns, verdict, version, report FROM checkups WHERE ?1 = '' OR rocket = ?1 ORDER BY at_ns, id`,
		[]any{rocket}, func(rows *sql.Rows) error {
			var c Checkup
			var at int64
			err := rows.Scan(&c.ID, &c.Rocket, &at, &c.Verdict, &c.Version, &c.Report)
			c.At = unix(at)
			out = append(out, c)
			return err
		})
	return out, explain(a.path, doing, err)
}

// OpenBeside opens an archive for a small addition such as a note, also while a
// daemon writes to it: SQLite lets one writer in at a time, and each of ours
// holds the file for one transaction only. It changes no version: an archive of
// an older one is refused until a daemon or Open has brought it up to date.
func OpenBeside(path string) (*Archive, error) {
	st, err := os.Stat(path)
	if err != nil {
		return nil, fmt.Errorf("open archive: %w", err)
	}
	if st.Size() == 0 {
		return nil, fmt.Errorf("open archive %s: %w: the file is empty", path, ErrNotArchive)
	}
	codec, err := block.NewCodec()
	if err != nil {
		return nil, fmt.Errorf("open archive: %w", err)
	}
	a := &Archive{path: path, codec: codec}
	if a.w, err = sql.Open("sqlite", dsn(path, "rw", "busy_timeout(10000)", "synchronous(FULL)", "foreign_keys(ON)")); err != nil {
		return nil, explain(path, "open archive", err)
	}
	a.w.SetMaxOpenConns(1)
	v, err := checkVersion(context.Background(), a.w, path, firstVersion+len(changes()))
	if err == nil {
		err = mustBePresent(path, v)
	}
	if err == nil {
		err = a.openReaders(path, "rw", "busy_timeout(10000)", "query_only(ON)")
	}
	if err != nil {
		return nil, errors.Join(err, a.Close())
	}
	return a, nil
}
