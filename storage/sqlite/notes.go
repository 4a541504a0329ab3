package sqlite

import (
	"context"
	"database/sql"
	"fmt"

	"padlark/storage"
)

// AddNote stores a remark and gives it back with its number.
func (a *Archive) AddNote(ctx context.Context, n storage.Note) (storage.Note, error) {
	err := a.write(ctx, "add note to session "+n.Session, func(in *inserter) error {
		res, err := in.exec(ctx, `INSERT INTO notes (session, rocket, flight, at_ns, text) SELECT id, ?, ?, ? - epoch_ns - shift_ns, ? FROM sessions WHERE name = ?`,
			n.Rocket, n.Flight, n.At.UnixNano(), n.Text, n.Session)
		if err != nil {
			return err
		}
		if k, err := res.RowsAffected(); err == nil && k == 0 {
			return fmt.Errorf("%w: %s", storage.ErrNoSession, n.Session)
		}
		n.ID, err = res.LastInsertId()
		return err
	})
	return n, err
}

// Notes lists the remarks of a session, oldest first, with the session's shift. Those
// on a flight that a person corrected are found under its new name.
func (a *Archive) Notes(ctx context.Context, session string) ([]storage.Note, error) {
	s, err := a.Session(ctx, session)
	if err != nil {
		return nil, err
	}
	out, err := a.KeptNotes(ctx, session)
	if err != nil {
		return nil, err
	}
	c, err := a.corrections(ctx, session, storage.Query{})
	for i := range out {
		n := &out[i]
		n.At = s.Corrected(n.At)
		now, _ := c.name(FlightName{n.Rocket, n.Flight}, always)
		n.Rocket, n.Flight = now.Rocket, now.Flight
	}
	return out, explain(a.path, "read notes of session "+session, err)
}

// KeptNotes lists the remarks as they were made, with recorded times.
func (a *Archive) KeptNotes(ctx context.Context, session string) ([]storage.Note, error) {
	var out []storage.Note
	err := each(ctx, a.r, `SELECT n.id, n.rocket, n.flight, n.at_ns + s.epoch_ns, n.text
		FROM notes n JOIN sessions s ON s.id = n.session WHERE s.name = ? ORDER BY n.at_ns, n.id`,
		[]any{session}, func(rows *sql.Rows) error {
			n := storage.Note{Session: session}
			var at int64
			err := rows.Scan(&n.ID, &n.Rocket, &n.Flight, &at, &n.Text)
			n.At = unix(at)
			out = append(out, n)
			return err
		})
	return out, explain(a.path, "read notes of session "+session, err)
}
