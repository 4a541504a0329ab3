package sqlite

import (
	"context"
	"database/sql"
	"time"
)

// Note is a remark that a person made.
type Note struct {
	ID      int64 // given by the archive
	Session string
	Rocket  string // empty for a remark on the session
	Flight  int    // 0 for none
	At      time.Time
	Text    string
}

// AddNote stores a remark; its At is a time of the session's recorded clock.
func (a *Archive) AddNote(ctx context.Context, n Note) error {
	return a.updateSession(ctx, "add note to session "+n.Session, n.Session,
		`INSERT INTO notes (session, rocket, flight, at_ns, text) SELECT id, ?, ?, ? - epoch_ns, ? FROM sessions WHERE name = ?`,
		n.Rocket, n.Flight, n.At.UnixNano(), n.Text, n.Session)
}

// Notes lists the remarks of a session, oldest first, with recorded times. Those
// on a flight that a person corrected are found under its new name.
func (a *Archive) Notes(ctx context.Context, session string) ([]Note, error) {
	out, err := a.KeptNotes(ctx, session)
	if err != nil {
		return nil, err
	}
	c, err := a.corrections(ctx, session, Query{})
	for i := range out {
		n := &out[i]
		now, _ := c.name(FlightName{n.Rocket, n.Flight}, always)
		n.Rocket, n.Flight = now.Rocket, now.Flight
	}
	return out, explain(a.path, "read notes of session "+session, err)
}

// KeptNotes lists the remarks as they were made.
func (a *Archive) KeptNotes(ctx context.Context, session string) ([]Note, error) {
	var out []Note
	err := each(ctx, a.r, `SELECT n.id, n.rocket, n.flight, n.at_ns + s.epoch_ns, n.text
		FROM notes n JOIN sessions s ON s.id = n.session WHERE s.name = ? ORDER BY n.at_ns, n.id`,
		[]any{session}, func(rows *sql.Rows) error {
			n := Note{Session: session}
			var at int64
			err := rows.Scan(&n.ID, &n.Rocket, &n.Flight, &at, &n.Text)
			n.At = unix(at)
			out = append(out, n)
			return err
		})
	return out, explain(a.path, "read notes of session "+session, err)
}
