package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"time"

	"padlark/flight"
)

// Void is what a person said of a flight that the events tell of: that it was
// none, or that it was one after all. The archive keeps every such statement
// beside what was heard, and the newest of a flight holds: a void flight is not
// counted anywhere.
type Void struct {
	ID      int64 // rises with each statement of an archive; 0 before it is kept
	Session string
	Rocket  string
	Flight  int
	Void    bool
	At      time.Time // by the session's recorded clock
	Why     string    // in the person's words; may be empty
}

// errNoFlight is returned when the archive holds no such flight.
var errNoFlight = errors.New("no such flight")

// SetVoid keeps a statement. The error wraps errNoFlight if there is no such
// flight, void or not.
func (a *Archive) SetVoid(ctx context.Context, v Void) error {
	spans, err := a.EveryFlight(ctx, v.Session)
	if err != nil {
		return err
	}
	for _, f := range spans {
		if f.Rocket == v.Rocket && f.Flight == v.Flight {
			return a.keepVoid(ctx, v)
		}
	}
	return fmt.Errorf("flight %d of %s in session %s: %w", v.Flight, v.Rocket, v.Session, errNoFlight)
}

func (a *Archive) keepVoid(ctx context.Context, v Void) error {
	return a.updateSession(ctx, "keep what was said of a flight in session "+v.Session, v.Session,
		`INSERT INTO voids (session, rocket, flight, void, at_ns, why) SELECT id, ?, ?, ?, ? - epoch_ns, ? FROM sessions WHERE name = ?`,
		v.Rocket, v.Flight, v.Void, v.At.UnixNano(), v.Why, v.Session)
}

// TakeVoid keeps a statement that was made elsewhere, if it is not here yet; its
// flight may still be on its way.
func (a *Archive) TakeVoid(ctx context.Context, v Void) error {
	all, err := a.Voids(ctx, v.Session)
	if err != nil {
		return err
	}
	for _, one := range all {
		if one.Rocket == v.Rocket && one.Flight == v.Flight && one.Void == v.Void && one.At.Equal(v.At) && one.Why == v.Why {
			return nil
		}
	}
	return a.keepVoid(ctx, v)
}

const voidColumns = `SELECT v.id, s.name, v.rocket, v.flight, v.void, v.at_ns + s.epoch_ns, v.why FROM voids v JOIN sessions s ON s.id = v.session`

// listVoids lists the statements that a query chooses.
func (a *Archive) listVoids(ctx context.Context, doing, where string, arg any) ([]Void, error) {
	var out []Void
	err := each(ctx, a.r, voidColumns+where+` ORDER BY v.id`, []any{arg}, func(rows *sql.Rows) error {
		var v Void
		var at int64
		err := rows.Scan(&v.ID, &v.Session, &v.Rocket, &v.Flight, &v.Void, &at, &v.Why)
		v.At = unix(at)
		out = append(out, v)
		return err
	})
	return out, explain(a.path, doing, err)
}

// Voids lists all that was said of the flights of a session, oldest first.
func (a *Archive) Voids(ctx context.Context, session string) ([]Void, error) {
	return a.listVoids(ctx, "read void flights of session "+session, ` WHERE s.name = ?`, session)
}

// VoidsAfter lists what was said of any session since the statement of that ID,
// oldest first.
func (a *Archive) VoidsAfter(ctx context.Context, id int64) ([]Void, error) {
	return a.listVoids(ctx, "read void flights", ` WHERE v.id > ?`, id)
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

// WithoutVoid leaves out the events of a session's void flights.
func (a *Archive) WithoutVoid(ctx context.Context, session string, events []flight.Event) ([]flight.Event, error) {
	voids, err := a.VoidNow(ctx, session)
	if err != nil {
		return nil, err
	}
	return slices.DeleteFunc(events, func(e flight.Event) bool {
		return slices.ContainsFunc(voids, func(v Void) bool { return v.Rocket == e.Rocket && v.Flight == e.Flight && e.Flight > 0 })
	}), nil
}
