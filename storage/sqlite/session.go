package sqlite

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"padlark/flight"
	"padlark/storage"
)

// StartSession stores a session's row, its rockets and links. Calling it again
// for a session that exists updates what may change and reopens it; another
// epoch is an error.
func (a *Archive) StartSession(ctx context.Context, s storage.Session) error {
	if s.Started.IsZero() {
		s.Started = s.Epoch
	}
	site, err := json.Marshal(s.Site)
	if err != nil {
		return fmt.Errorf("start session %s: write site: %w", s.ID, err)
	}
	start := func(in *inserter) error {
		n, err := in.session(ctx, s.ID, s.Station, s.Epoch)
		if err != nil {
			return err
		}
		if !n.epoch.Equal(s.Epoch) {
			return fmt.Errorf("it is there already with the epoch %s and cannot start with %s", n.epoch.Format(time.RFC3339Nano), s.Epoch.UTC().Format(time.RFC3339Nano))
		}
		_, err = in.exec(ctx, `UPDATE sessions SET station = ?, started_ns = MIN(started_ns, ?), ended_ns = NULL, version = ?, config = ?, site = ? WHERE id = ?`,
			s.Station, s.Started.Sub(s.Epoch).Nanoseconds(), s.Version, s.Config, string(site), n.id)
		if err != nil {
			return err
		}
		for _, r := range s.Rockets {
			if err := in.describeRocket(ctx, n, r); err != nil {
				return err
			}
		}
		for _, l := range s.Links {
			if _, err := in.link(ctx, n, l); err != nil {
				return err
			}
		}
		return nil
	}
	doing := "start session " + s.ID
	if away, err := a.startAway(ctx, s, doing, start); away {
		return err
	}
	return a.write(ctx, doing, start)
}

// EndSession stores when a session ended, in recorded time, and merges what is
// still in small blocks.
func (a *Archive) EndSession(ctx context.Context, id string, at time.Time) error {
	ctx = context.WithoutCancel(ctx) // as in Write
	return a.write(ctx, "end session "+id, func(in *inserter) error {
		res, err := in.exec(ctx, `UPDATE sessions SET ended_ns = ? - epoch_ns WHERE name = ?`, at.UnixNano(), id)
		if err != nil {
			return err
		}
		if n, err := res.RowsAffected(); err == nil && n == 0 {
			return fmt.Errorf("%w: %s", storage.ErrNoSession, id)
		}
		var session int64
		if err := in.row(ctx, `SELECT id FROM sessions WHERE name = ?`, []any{id}, &session); err != nil {
			return err
		}
		if err := in.rowsOfFlights(ctx, session); err != nil {
			return err
		}
		return in.tidy(ctx, id)
	})
}

// tidy merges the small blocks at the ends of a session's tracks.
func (in *inserter) tidy(ctx context.Context, session string) error {
	var tracks []track
	err := each(ctx, in.conn, `SELECT r.id, l.id FROM sessions s JOIN links l ON l.session = s.id
		JOIN (SELECT id, session FROM rockets UNION ALL SELECT 0, id FROM sessions) r ON r.session = s.id WHERE s.name = ?`,
		[]any{session}, func(rows *sql.Rows) error {
			var t track
			err := rows.Scan(&t.rocket, &t.link)
			tracks = append(tracks, t)
			return err
		})
	for _, t := range tracks {
		switch {
		case err != nil:
		case t.rocket == 0:
			err = in.frames.tidy(ctx, in, t)
		default:
			err = in.samples.tidy(ctx, in, t)
		}
	}
	return err
}

// SetShift stores what must be added to the session's recorded times, and how
// that is known, for example "gps on pad-radio". It replaces an earlier shift.
func (a *Archive) SetShift(ctx context.Context, id string, shift time.Duration, source string) error {
	return a.updateSession(ctx, "fix time of session "+id, id,
		`UPDATE sessions SET shift_ns = ?, shift_source = ? WHERE name = ?`, shift.Nanoseconds(), source, id)
}

// AddEvent stores an event that did not come over the bus, last of all.
func (a *Archive) AddEvent(ctx context.Context, e flight.Event) error {
	return a.write(ctx, "add event to session "+e.Session, func(in *inserter) error {
		var last int64
		if err := in.row(ctx, `SELECT COALESCE(MAX(ord), 0) FROM events`, nil, &last); err != nil {
			return err
		}
		return in.event(ctx, &e, uint64(last)+1)
	})
}

func (a *Archive) updateSession(ctx context.Context, doing, id, query string, args ...any) error {
	return a.write(ctx, doing, func(in *inserter) error {
		res, err := in.exec(ctx, query, args...)
		if err != nil {
			return err
		}
		if n, err := res.RowsAffected(); err == nil && n == 0 {
			return fmt.Errorf("%w: %s", storage.ErrNoSession, id)
		}
		return nil
	})
}

const sessionColumns = `SELECT id, name, station, epoch_ns, started_ns, ended_ns, version, config, site, shift_ns, shift_source FROM sessions`

// Sessions lists all sessions, oldest first.
func (a *Archive) Sessions(ctx context.Context) ([]storage.Session, error) {
	rows, err := a.r.QueryContext(ctx, sessionColumns+` ORDER BY epoch_ns, id`)
	if err != nil {
		return nil, explain(a.path, "list sessions", err)
	}
	defer rows.Close()
	var out []storage.Session
	var ids []int64
	for rows.Next() {
		s, id, err := scanSession(rows)
		if err != nil {
			return nil, explain(a.path, "list sessions", err)
		}
		out, ids = append(out, s), append(ids, id)
	}
	if err := rows.Err(); err != nil {
		return nil, explain(a.path, "list sessions", err)
	}
	rows.Close()
	for i := range out {
		if err := a.fillSession(ctx, &out[i], ids[i]); err != nil {
			return nil, explain(a.path, "list sessions", err)
		}
	}
	return out, nil
}

// Session returns one session; storage.ErrNoSession if it is not there.
func (a *Archive) Session(ctx context.Context, id string) (storage.Session, error) {
	s, key, err := scanSession(a.r.QueryRowContext(ctx, sessionColumns+` WHERE name = ?`, id))
	if errors.Is(err, sql.ErrNoRows) {
		return s, fmt.Errorf("read session %s: %w", id, storage.ErrNoSession)
	}
	if err == nil {
		err = a.fillSession(ctx, &s, key)
	}
	if err != nil {
		return s, explain(a.path, "read session "+id, err)
	}
	return s, nil
}

func scanSession(row interface{ Scan(...any) error }) (storage.Session, int64, error) {
	var s storage.Session
	var id, epoch, started, shift int64
	var ended sql.NullInt64
	var site string
	err := row.Scan(&id, &s.ID, &s.Station, &epoch, &started, &ended, &s.Version, &s.Config, &site, &shift, &s.ShiftSource)
	if err != nil {
		return s, 0, err
	}
	s.Epoch = unix(epoch)
	s.Started = unix(epoch + started)
	if ended.Valid {
		s.Ended = unix(epoch + ended.Int64)
	}
	s.Shift = time.Duration(shift)
	if err := json.Unmarshal([]byte(site), &s.Site); err != nil {
		return s, 0, fmt.Errorf("read site: %w", err)
	}
	return s, id, nil
}

// fillSession reads the names of a session's rockets and links, and its changes.
func (a *Archive) fillSession(ctx context.Context, s *storage.Session, id int64) error {
	err := each(ctx, a.r, `SELECT config FROM rockets WHERE session = ? ORDER BY id`, []any{id}, func(rows *sql.Rows) error {
		var text string
		if err := rows.Scan(&text); err != nil {
			return err
		}
		var r flight.Rocket
		if err := json.Unmarshal([]byte(text), &r); err != nil {
			return fmt.Errorf("read rocket: %w", err)
		}
		s.Rockets = append(s.Rockets, r)
		return nil
	})
	if err != nil {
		return err
	}
	err = each(ctx, a.r, `SELECT at_ns, config FROM changes WHERE session = ? ORDER BY at_ns`, []any{id}, func(rows *sql.Rows) error {
		var c storage.ConfigChange
		err := rows.Scan(&c.At, &c.Config)
		s.Changes = append(s.Changes, c)
		return err
	})
	if err != nil {
		return err
	}
	return each(ctx, a.r, `SELECT name FROM links WHERE session = ? ORDER BY id`, []any{id}, func(rows *sql.Rows) error {
		var name string
		if err := rows.Scan(&name); err != nil {
			return err
		}
		s.Links = append(s.Links, name)
		return nil
	})
}

// querier is a database or one connection to it.
type querier interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
}

// each runs a query and calls fn for every row.
func each(ctx context.Context, db querier, query string, args []any, fn func(*sql.Rows) error) error {
	rows, err := db.QueryContext(ctx, query, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := fn(rows); err != nil {
			return err
		}
	}
	return rows.Err()
}

func unix(ns int64) time.Time { return time.Unix(0, ns).UTC() }
