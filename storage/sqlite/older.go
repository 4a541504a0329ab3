package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
)

// An archive of an older version that is damaged cannot be brought up to date in
// place: packing stops at the damage, as it must. For reading, what can be read
// of it is copied row by row into a file with the same tables, which is then
// brought up to date as any other. The damaged file stays as it is.

// OpenOlder opens an archive of an older version for reading that Open refuses
// as damaged. What can be read of it is copied to a temporary file, as large as
// the archive, which Close removes; Lost says from the start what could not be
// read. Tell is as in Options.
func OpenOlder(ctx context.Context, path string, tell func(line string)) (*Archive, error) {
	st, err := os.Stat(path)
	if err != nil {
		return nil, fmt.Errorf("open archive: %w", err)
	}
	dir, err := os.MkdirTemp("", "padlark-salvage-")
	if err != nil {
		return nil, fmt.Errorf("open damaged archive: make a folder for what can be read: %w", err)
	}
	lost, err := salvage(ctx, path, filepath.Join(dir, FileName), tell)
	if err != nil && ctx.Err() != nil {
		err = fmt.Errorf("open archive %s: %w while what can be read of it was copied; the file is as it was", path, ctx.Err())
	}
	if err != nil {
		return nil, errors.Join(err, os.RemoveAll(dir))
	}
	a, err := OpenReadOnly(filepath.Join(dir, FileName))
	if err != nil {
		return nil, errors.Join(err, os.RemoveAll(dir))
	}
	// From here on it stands for the damaged one.
	a.path, a.temp, a.lost.list = path, dir, lost
	if err := a.noteCut(st.Size()); err != nil {
		return nil, err
	}
	return a, nil
}

// salvage makes an archive of this version from what can be read of one of an
// older version.
func salvage(ctx context.Context, from, to string, tell func(string)) ([]Loss, error) {
	t := startTeller(from, toldFirst, tell)
	defer t.stop()
	s := &salvager{path: from, to: to, teller: t}
	if err := s.open(); err != nil {
		return nil, errors.Join(err, s.close())
	}
	if err := errors.Join(s.copyAll(ctx), s.close()); err != nil {
		return nil, err
	}
	t.at("what could be read is packed", 0)
	w, err := Open(ctx, to, Options{NoSync: true})
	if errors.Is(err, ErrFull) {
		return nil, s.failed("", err)
	}
	if err != nil {
		return nil, fmt.Errorf("open archive %s: %w: what can be read of it does not fit together: %w", from, ErrDamaged, err)
	}
	return s.lost.list, w.Close()
}

// salvager copies what can be read of the tables of a damaged archive.
type salvager struct {
	path, to string
	teller   *teller
	src, dst *sql.DB
	lost     lossList
}

func (s *salvager) open() error {
	var err error
	// As in OpenReadOnly: a file shorter than its header says is opened.
	if s.src, err = sql.Open("sqlite", dsn(s.path, "ro", "busy_timeout(10000)", "query_only(ON)", "writable_schema(ON)")); err != nil {
		return explain(s.path, "open archive", err)
	}
	// Nothing of the copy outlives this program, so it needs no care.
	if s.dst, err = sql.Open("sqlite", dsn(s.to, "rwc", "journal_mode(OFF)", "synchronous(OFF)")); err != nil {
		return explain(s.to, "open copy", err)
	}
	s.dst.SetMaxOpenConns(1)
	return nil
}

func (s *salvager) close() error {
	var errs []error
	for _, db := range []*sql.DB{s.src, s.dst} {
		if db != nil {
			errs = append(errs, db.Close())
		}
	}
	return errors.Join(errs...)
}

// oldTable is a table of the damaged file.
type oldTable struct {
	name    string
	noRowID bool
	columns []string
	key     []string // columns of the primary key
}

func (s *salvager) copyAll(ctx context.Context) error {
	tables, err := s.makeTables(ctx)
	if err != nil {
		return explain(s.path, "read tables", err)
	}
	// First what the others refer to, and by whose names a loss is told.
	for pass := range 2 {
		for _, t := range tables {
			if named(t.name) != (pass == 0) {
				continue
			}
			s.teller.at("what can be read of its table "+t.name+" is copied", 0)
			if err := s.copyTable(ctx, t); err != nil {
				return s.failed("table "+t.name+": ", err)
			}
		}
	}
	if err := s.dropUnfit(ctx, tables); err != nil {
		return s.failed("", err)
	}
	return nil
}

// failed says where the copy failed, and the mend if it found no room: it lies
// where temporary files do, which on a small computer may be its memory.
func (s *salvager) failed(where string, err error) error {
	doing := "copy what can be read of " + s.path
	if full := explain(s.to, "write", err); errors.Is(full, ErrFull) {
		dir := filepath.Dir(filepath.Dir(s.to))
		return fmt.Errorf("%s: %w: %s has no room for a copy; set TMPDIR to a folder that has: %w", doing, ErrFull, dir, err)
	}
	return fmt.Errorf("%s: %s%w", doing, where, err)
}

func named(table string) bool { return table == "sessions" || table == "links" || table == "rockets" }

// makeTables gives the copy the tables of the damaged file and lists them.
func (s *salvager) makeTables(ctx context.Context) ([]oldTable, error) {
	version, err := checkVersion(ctx, s.src, s.path)
	if err != nil {
		return nil, err
	}
	var tables []oldTable
	var create []string
	err = each(ctx, s.src, `SELECT s.name, s.sql, l.wr FROM sqlite_schema s JOIN pragma_table_list l ON l.name = s.name AND l.schema = 'main'
		WHERE s.type = 'table' AND s.name NOT LIKE 'sqlite%'`, nil, func(rows *sql.Rows) error {
		var t oldTable
		var text string
		err := rows.Scan(&t.name, &text, &t.noRowID)
		tables, create = append(tables, t), append(create, text)
		return err
	})
	if err != nil {
		return nil, err
	}
	for i := range tables {
		t := &tables[i]
		err := each(ctx, s.src, `SELECT name, pk FROM pragma_table_info(?) ORDER BY pk`, []any{t.name}, func(rows *sql.Rows) error {
			var name string
			var pk int
			err := rows.Scan(&name, &pk)
			t.columns = append(t.columns, name)
			if pk > 0 {
				t.key = append(t.key, name)
			}
			return err
		})
		if err != nil {
			return nil, err
		}
	}
	create = append(create, fmt.Sprintf("PRAGMA application_id = %d; PRAGMA user_version = %d", applicationID, version))
	if _, err := s.dst.ExecContext(ctx, strings.Join(create, ";")); err != nil {
		return nil, fmt.Errorf("%w: what it says of its tables is no SQL: %w", ErrDamaged, err)
	}
	return tables, nil
}

func (s *salvager) copyTable(ctx context.Context, t oldTable) error {
	tx, err := s.dst.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback() //nolint:errcheck // after Commit it does nothing
	// What breaks a rule of the table is not what was stored.
	insert, err := tx.PrepareContext(ctx, fmt.Sprintf("INSERT OR IGNORE INTO %s (%s) VALUES (?%s)",
		t.name, strings.Join(t.columns, ", "), strings.Repeat(", ?", len(t.columns)-1)))
	if err != nil {
		return err
	}
	defer insert.Close() //nolint:errcheck // Commit has said it
	put := func(row []any) error {
		s.teller.did(1)
		_, err := insert.ExecContext(ctx, row...)
		return err
	}
	switch {
	case t.name == "frames" || t.name == "samples":
		err = s.copyTracks(ctx, tx, t, put)
	case t.noRowID:
		err = s.copyFromBothEnds(ctx, t, put)
	default:
		err = s.copyNumbered(ctx, t, "rowid", "", nil, put, func(from, to int64) {
			note := fmt.Sprintf("nothing between rows %d and %d can be read", from, to)
			if to == 0 {
				note = fmt.Sprintf("nothing after row %d can be read", from)
			}
			s.lost.add(Loss{Table: t.name, Note: note})
		})
	}
	if err != nil {
		return err
	}
	return tx.Commit()
}

// copyTracks copies the frames of each link, or the samples of each rocket and
// link.
func (s *salvager) copyTracks(ctx context.Context, tx *sql.Tx, t oldTable, put func([]any) error) error {
	query, cond := `SELECT 0, l.id, s.name, '', l.name FROM links l JOIN sessions s ON s.id = l.session`, "?1 = 0 AND link = ?2"
	if t.name == "samples" {
		query = `SELECT r.id, l.id, s.name, r.name, l.name FROM links l JOIN sessions s ON s.id = l.session JOIN rockets r ON r.session = s.id`
		cond = "rocket = ?1 AND link = ?2"
	}
	type place struct {
		track
		loss Loss // what is the same for all of it
	}
	var tracks []place
	rows, err := tx.QueryContext(ctx, query)
	if err != nil {
		return err
	}
	for rows.Next() {
		n := place{loss: Loss{Table: t.name}}
		if err := rows.Scan(&n.rocket, &n.link, &n.loss.Session, &n.loss.Rocket, &n.loss.Link); err != nil {
			return errors.Join(err, rows.Close())
		}
		tracks = append(tracks, n)
	}
	if err := errors.Join(rows.Err(), rows.Close()); err != nil {
		return err
	}
	for _, n := range tracks {
		err := s.copyNumbered(ctx, t, "n", cond+" AND ", []any{n.rocket, n.link}, put, func(from, to int64) {
			l := n.loss
			l.From, l.To = uint64(max(from, 0)), uint64(to)
			s.lost.add(l)
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// copyNumbered copies the rows that a condition chooses, by their numbers, past
// those that cannot be read.
func (s *salvager) copyNumbered(ctx context.Context, t oldTable, number, cond string, args []any, put func([]any) error, hole func(from, to int64)) error {
	at := len(args)
	query := fmt.Sprintf("SELECT %s, %s FROM %s WHERE %s%s > ?%d ORDER BY %s LIMIT ?%d",
		number, strings.Join(t.columns, ", "), t.name, cond, number, at+1, number, at+2)
	p := &pager[[]any]{
		last: -1, hole: hole,
		number: func(row []any) int64 { return row[0].(int64) },
		read: func(ctx context.Context, after int64, limit int) ([][]any, error) {
			var out [][]any
			err := each(ctx, s.src, query, append(args[:at:at], after, limit), func(rows *sql.Rows) error {
				row, err := scanAny(rows, 1+len(t.columns))
				if _, ok := row[0].(int64); err == nil && !ok {
					err = fmt.Errorf("%w: its number is none", errShortRead)
				}
				out = append(out, row)
				return err
			})
			return out, err
		},
	}
	for {
		row, err := p.head(ctx)
		if err != nil || row == nil {
			return err
		}
		if err := put((*row)[1:]); err != nil {
			return err
		}
		p.next++
	}
}

// copyFromBothEnds copies a small table that has no numbers: up to the first
// damage from its beginning, and from its end.
func (s *salvager) copyFromBothEnds(ctx context.Context, t oldTable, put func([]any) error) error {
	for _, way := range []string{"ASC", "DESC"} {
		query := fmt.Sprintf("SELECT %s FROM %s ORDER BY %s %s", strings.Join(t.columns, ", "), t.name, strings.Join(t.key, " "+way+", "), way)
		err := each(ctx, s.src, query, nil, func(rows *sql.Rows) error {
			row, err := scanAny(rows, len(t.columns))
			if err != nil {
				return err
			}
			return put(row)
		})
		switch {
		case err == nil:
			return nil
		case !damaged(err):
			return err
		}
	}
	s.lost.add(Loss{Table: t.name, Note: "some rows in its middle cannot be read"})
	return nil
}

func scanAny(rows *sql.Rows, n int) ([]any, error) {
	row, dest := make([]any, n), make([]any, n)
	for i := range row {
		dest[i] = &row[i]
	}
	return row, rows.Scan(dest...)
}

// dropUnfit drops from the copy what came out of a damaged page in a shape that
// was never stored, or belongs to what is lost, and notes it.
func (s *salvager) dropUnfit(ctx context.Context, tables []oldTable) error {
	for _, t := range tables {
		for _, cond := range unfit(t) {
			res, err := s.dst.ExecContext(ctx, "DELETE FROM "+t.name+" WHERE "+cond)
			if err != nil {
				return err
			}
			if n, err := res.RowsAffected(); err != nil || n == 0 {
				continue
			}
			s.lost.add(Loss{Table: t.name, Note: "some rows are changed, or of a session, link or rocket that cannot be read"})
		}
	}
	return nil
}

// unfit are the conditions for rows that cannot have been stored.
func unfit(t oldTable) []string {
	var out []string
	for _, c := range t.columns {
		switch {
		case c == "session" || c == "link" && t.name != "alarms":
			out = append(out, fmt.Sprintf("%s NOT IN (SELECT id FROM %ss)", c, c))
		case c == "rocket" && (t.name == "samples" || t.name == "sample_blocks" || t.name == "flights" || t.name == "flight_rows"):
			out = append(out, "rocket NOT IN (SELECT id FROM rockets)")
		case c == "other":
			out = append(out, "other IS NOT NULL AND NOT json_valid(other)")
		}
		if t.name != "frames" && t.name != "samples" {
			continue
		}
		switch c {
		case "bytes", "other":
		case "link", "rocket", "n", "mono_ns", "passed_ns", "ord", "heard_off_ns", "wire", "baud", "boot", "seq", "clock_us", "at_ns":
			out = append(out, fmt.Sprintf("typeof(%s) NOT IN ('integer', 'null')", c))
		default:
			out = append(out, fmt.Sprintf("typeof(%s) NOT IN ('real', 'null')", c))
		}
	}
	return out
}
