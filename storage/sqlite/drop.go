package sqlite

import (
	"context"
	"fmt"

	"padlark/storage"
)

// dropOrder removes what belongs to a session, children before what they refer
// to.
var dropOrder = []string{
	`DELETE FROM flight_rows WHERE session = ?`,
	`DELETE FROM sample_blocks WHERE link IN (SELECT id FROM links WHERE session = ?)`,
	`DELETE FROM frame_blocks WHERE link IN (SELECT id FROM links WHERE session = ?)`,
	`DELETE FROM rejects WHERE link IN (SELECT id FROM links WHERE session = ?)`,
	`DELETE FROM notes WHERE session = ?`,
	`DELETE FROM changes WHERE session = ?`,
	`DELETE FROM voids WHERE session = ?`,
	`DELETE FROM corrections WHERE session = ?`,
	`DELETE FROM corrected_flights WHERE session = ?`,
	`DELETE FROM corrected_events WHERE session = ?`,
	`DELETE FROM corrected_names WHERE session = ?`,
	`DELETE FROM events WHERE session = ?`,
	`DELETE FROM alarms WHERE session = ?`,
	`DELETE FROM flights WHERE session = ?`,
	`DELETE FROM rockets WHERE session = ?`,
	`DELETE FROM links WHERE session = ?`,
	`DELETE FROM sessions WHERE id = ?`,
}

// DropSession takes a session out with all that belongs to it, in one
// transaction; storage.ErrNoSession if it is not there. It is for who has put the
// session in and could not finish: what was heard is never dropped.
func (a *Archive) DropSession(ctx context.Context, id string) error {
	ctx = context.WithoutCancel(ctx) // as in Write
	return a.write(ctx, "take out session "+id, func(in *inserter) error {
		var rows, key int64
		if err := in.row(ctx, `SELECT COUNT(*), COALESCE(MAX(id), 0) FROM sessions WHERE name = ?`, []any{id}, &rows, &key); err != nil {
			return err
		}
		if rows == 0 {
			return fmt.Errorf("%w: %s", storage.ErrNoSession, id)
		}
		in.forget() // whatever of it waits to be stored, or is known by name
		for _, query := range dropOrder {
			if _, err := in.exec(ctx, query, key); err != nil {
				return err
			}
		}
		return nil
	})
}
