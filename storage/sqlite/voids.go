package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"
)

// Void is what a person said of a flight that the events tell of: that it was
// none, or that it was one after all. The archive keeps every such statement
// beside what was heard, and the newest of a flight holds: a void flight is not
// counted anywhere.
type Void struct {
	Session string
	Rocket  string
	Flight  int
	Void    bool
	At      time.Time // by the session's recorded clock
	Why     string    // in the person's words; may be empty
}

// ErrNoFlight is returned when the archive holds no such flight.
var ErrNoFlight = errors.New("no such flight")

// SetVoid keeps a statement. The error wraps ErrNoFlight if there is no such
// flight, void or not.
func (a *Archive) SetVoid(ctx context.Context, v Void) error {
	spans, err := a.EveryFlight(ctx, v.Session)
	if err != nil {
		return err
	}
	for _, f := range spans {
		if f.Rocket == v.Rocket && f.Flight == v.Flight {
			return a.updateSession(ctx, "keep what was said of a flight in session "+v.Session, v.Session,
				`INSERT INTO voids (session, rocket, flight, void, at_ns, why) SELECT id, ?, ?, ?, ? - epoch_ns, ? FROM sessions WHERE name = ?`,
				v.Rocket, v.Flight, v.Void, v.At.UnixNano(), v.Why, v.Session)
		}
	}
	return fmt.Errorf("flight %d of %s in session %s: %w", v.Flight, v.Rocket, v.Session, ErrNoFlight)
}

// Voids lists all that was said of the flights of a session, oldest first.
func (a *Archive) Voids(ctx context.Context, session string) ([]Void, error) {
	var out []Void
	err := each(ctx, a.r, `SELECT v.rocket, v.flight, v.void, v.at_ns + s.epoch_ns, v.why
		FROM voids v JOIN sessions s ON s.id = v.session WHERE s.name = ? ORDER BY v.id`,
		[]any{session}, func(rows *sql.Rows) error {
			v := Void{Session: session}
			var at int64
			err := rows.Scan(&v.Rocket, &v.Flight, &v.Void, &at, &v.Why)
			v.At = unix(at)
			out = append(out, v)
			return err
		})
	return out, explain(a.path, "read void flights of session "+session, err)
}

// VoidNow lists the flights of a session that are void at present, by the
// statement that made them so.
func (a *Archive) VoidNow(ctx context.Context, session string) ([]Void, error) {
	all, err := a.Voids(ctx, session)
	if err != nil {
		return nil, err
	}
	var out []Void
	for i, v := range all {
		newest := v.Void
		for _, later := range all[i+1:] {
			newest = newest && (later.Rocket != v.Rocket || later.Flight != v.Flight)
		}
		if newest {
			out = append(out, v)
		}
	}
	return out, nil
}
