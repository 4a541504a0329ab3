package sqlite

import (
	"context"
	"database/sql"
)

// LastPassed is the Passed of a session's newest frame, in ns since the epoch;
// ok is false if it has none.
func (a *Archive) LastPassed(ctx context.Context, session string) (passed int64, ok bool, err error) {
	err = each(ctx, a.r, `SELECT (SELECT passed_last_ns FROM frame_blocks WHERE link = l.id ORDER BY n_first DESC LIMIT 1)
		FROM links l JOIN sessions s ON s.id = l.session WHERE s.name = ?`,
		[]any{session}, func(rows *sql.Rows) error {
			var p sql.NullInt64
			if err := rows.Scan(&p); err != nil {
				return err
			}
			if p.Valid {
				passed, ok = max(passed, p.Int64), true
			}
			return nil
		})
	return passed, ok, explain(a.path, "read end of session "+session, err)
}

// LastSampled is the number of each link's newest frame of which a sample is
// stored.
func (a *Archive) LastSampled(ctx context.Context, session string) (map[string]uint64, error) {
	out := map[string]uint64{}
	// One look-up at the end of the key for each rocket and link, instead of a
	// walk through all samples.
	err := each(ctx, a.r, `SELECT l.name, (SELECT n_last FROM sample_blocks WHERE rocket = r.id AND link = l.id ORDER BY n_first DESC LIMIT 1)
		FROM sessions s JOIN links l ON l.session = s.id JOIN rockets r ON r.session = s.id WHERE s.name = ?`,
		[]any{session}, func(rows *sql.Rows) error {
			var link string
			var n sql.NullInt64
			if err := rows.Scan(&link, &n); err != nil {
				return err
			}
			if n.Valid {
				out[link] = max(out[link], uint64(n.Int64))
			}
			return nil
		})
	return out, explain(a.path, "read end of session "+session, err)
}

// newestSample is the Passed of a session's newest sample; -1 if it has none.
// Samples are stored in the order in which they passed, so all up to it are there.
func (a *Archive) newestSample(ctx context.Context, session string) (int64, error) {
	newest := int64(-1)
	err := each(ctx, a.r, `SELECT (SELECT passed_last_ns FROM sample_blocks WHERE rocket = r.id AND link = l.id ORDER BY n_first DESC LIMIT 1)
		FROM sessions s JOIN links l ON l.session = s.id JOIN rockets r ON r.session = s.id WHERE s.name = ?`,
		[]any{session}, func(rows *sql.Rows) error {
			var p sql.NullInt64
			err := rows.Scan(&p)
			if p.Valid {
				newest = max(newest, p.Int64)
			}
			return err
		})
	return newest, err
}
