package sqlite

import (
	"context"
	"database/sql"
)

// Last says how far a session has come in the archive: what a station needs to
// know to go on with it.
type Last struct {
	// Passed is that of the newest frame, in ns since the epoch; -1 if there is
	// no frame.
	Passed int64
	// Sampled is the highest frame number per link that has a sample.
	Sampled map[string]uint64
}

// Last looks up how far a session has come.
func (a *Archive) Last(ctx context.Context, session string) (Last, error) {
	l := Last{Passed: -1, Sampled: map[string]uint64{}}
	err := each(ctx, a.r, `SELECT l.name,
		(SELECT passed_last_ns FROM frame_blocks WHERE link = l.id ORDER BY n_first DESC LIMIT 1),
		(SELECT MAX(n_last) FROM sample_blocks b JOIN rockets r ON r.id = b.rocket WHERE r.session = l.session AND b.link = l.id)
		FROM links l JOIN sessions s ON s.id = l.session WHERE s.name = ?`, []any{session}, func(rows *sql.Rows) error {
		var name string
		var passed, sampled sql.NullInt64
		if err := rows.Scan(&name, &passed, &sampled); err != nil {
			return err
		}
		if passed.Valid {
			l.Passed = max(l.Passed, passed.Int64)
		}
		if sampled.Valid {
			l.Sampled[name] = uint64(sampled.Int64)
		}
		return nil
	})
	return l, explain(a.path, "look up the end of session "+session, err)
}
