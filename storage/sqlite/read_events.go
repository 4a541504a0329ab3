package sqlite

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/storage"
)

// Events lists the events that q chooses, in the order in which they were made.
func (a *Archive) Events(ctx context.Context, q storage.Query) ([]flight.Event, error) {
	var out []flight.Event
	table := "every_event"
	if q.AsHeard {
		table = "events"
	}
	err := a.listed(ctx, q, "events", `SELECT id, rocket, kind, flight, at_ns, called_ns, at_sd_s, altitude_m, altitude_sd_m, speed_mps, note
		FROM `+table+` WHERE session = ? AND at_ns BETWEEN ? AND ? AND (?4 = '' OR rocket = ?4) AND (?5 = 0 OR flight = ?5) ORDER BY ord, at_ns, id`,
		func(rows *sql.Rows, s chosenSession) error {
			e := flight.Event{Session: s.ID}
			var at, called int64
			err := rows.Scan(&e.ID, &e.Rocket, &e.Kind, &e.Flight, &at, &called, &e.AtSD, &e.AltitudeM, &e.AltitudeSD, &e.SpeedMps, &e.Note)
			e.At, e.CalledAt = s.epoch.Add(time.Duration(at)), s.epoch.Add(time.Duration(called))
			if s.corrected == nil || chooses(q, e.Rocket, e.Flight) {
				out = append(out, e)
			}
			return err
		}, func(s chosenSession) error { // put those that were found anew in their places
			slices.SortStableFunc(out, func(x, y flight.Event) int { return x.CalledAt.Compare(y.CalledAt) })
			return nil
		})
	return out, err
}

// chooses says whether q asks for a flight.
func chooses(q storage.Query, rocket string, n int) bool {
	return (q.Rocket == "" || q.Rocket == rocket) && (q.Flight == 0 || q.Flight == n)
}

// CorrectEvents puts what people corrected into events of a session that were
// heard or replayed, of all rockets or of one as it was heard, with recorded times.
func (a *Archive) CorrectEvents(ctx context.Context, session, heardAs string, events []flight.Event) ([]flight.Event, error) {
	c, err := a.corrections(ctx, session, storage.Query{})
	if err != nil || c == nil {
		return events, err
	}
	out := slices.DeleteFunc(slices.Clone(events), func(e flight.Event) bool {
		_, was := c.name(FlightName{e.Rocket, e.Flight}, 0)
		return was
	})
	now, err := a.Events(ctx, storage.Query{Session: session, Recorded: true})
	for _, e := range now {
		if slices.ContainsFunc(c.flights, func(f correctedSpan) bool {
			return f.FlightName == FlightName{e.Rocket, e.Flight} && (heardAs == "" || heardAs == f.heardAs)
		}) {
			out = append(out, e)
		}
	}
	slices.SortStableFunc(out, func(x, y flight.Event) int { return x.CalledAt.Compare(y.CalledAt) })
	return out, err
}

// Alarms lists the changes of alarms that q chooses, in the order in which they
// were made.
func (a *Archive) Alarms(ctx context.Context, q storage.Query) ([]flight.Alarm, error) {
	var out []flight.Alarm
	err := a.listed(ctx, q, "alarms", `SELECT id, change, rocket, link, flight, kind, priority, active, acked, raised_ns, changed_ns, say, reason, phrases
		FROM alarms WHERE session = ? AND changed_ns BETWEEN ? AND ? AND (?4 = '' OR rocket = ?4) AND (?5 = 0 OR flight = ?5) ORDER BY ord, changed_ns, id, change`,
		func(rows *sql.Rows, s chosenSession) error {
			al := flight.Alarm{Session: s.ID}
			var raised, changed int64
			var words string
			err := rows.Scan(&al.ID, &al.Change, &al.Rocket, &al.Link, &al.Flight, &al.Kind, &al.Priority, &al.Active, &al.Acked, &raised, &changed, &al.Say, &al.Reason, &words)
			var told alarmPhrases
			if err == nil && words != "" {
				err = json.Unmarshal([]byte(words), &told)
			}
			al.SayPhrase, al.ReasonPhrase = told.Say, told.Reason
			al.RaisedAt, al.ChangedAt = s.epoch.Add(time.Duration(raised)), s.epoch.Add(time.Duration(changed))
			if s.corrected != nil {
				now, _ := s.corrected.name(FlightName{al.Rocket, al.Flight}, raised)
				if al.Rocket, al.Flight = now.Rocket, now.Flight; !chooses(q, now.Rocket, now.Flight) {
					return err
				}
			}
			out = append(out, al)
			return err
		}, nil)
	return out, err
}

// chosenSession is a session that a query chooses.
type chosenSession struct {
	storage.Session
	window              // that the query chooses
	epoch     time.Time // to which the times given out refer
	corrected *corrected
}

// listed runs a query with the arguments session, from, to, rocket and flight
// for each session that q chooses, and then last. Where flights were corrected all
// of the session are read, and whoever reads them chooses.
func (a *Archive) listed(ctx context.Context, q storage.Query, table, query string, fn func(*sql.Rows, chosenSession) error, last func(chosenSession) error) error {
	sessions, err := a.chosen(ctx, q)
	if err != nil {
		return err
	}
	for _, one := range sessions {
		id, err := a.sessionRow(ctx, one.ID)
		if err != nil {
			return err
		}
		s := chosenSession{Session: one, window: windowOf(q, one), epoch: one.Corrected(one.Epoch)}
		if q.Recorded {
			s.epoch = s.Epoch
		}
		rocket, flight := q.Rocket, q.Flight
		if !q.AsHeard {
			s.corrected, err = a.correctedOf(ctx, id)
		}
		if s.corrected != nil {
			rocket, flight = "", 0
		}
		if err == nil {
			err = each(ctx, a.r, query, []any{id, s.from, s.to, rocket, flight}, func(rows *sql.Rows) error { return fn(rows, s) })
		}
		if err == nil && last != nil && s.corrected != nil {
			err = last(s)
		}
		if err != nil && a.readOnly && damaged(err) {
			a.lost.add(Loss{Table: table, Session: s.ID})
			continue
		}
		if err != nil {
			return explain(a.path, "read "+table+" of session "+s.ID, err)
		}
	}
	return nil
}

func (a *Archive) sessionRow(ctx context.Context, name string) (int64, error) {
	var id int64
	err := a.r.QueryRowContext(ctx, `SELECT id FROM sessions WHERE name = ?`, name).Scan(&id)
	return id, explain(a.path, "read session "+name, err)
}

// Rockets lists the rockets of a session: those that were configured, then
// those that were only heard.
func (a *Archive) Rockets(ctx context.Context, session string) ([]flight.Rocket, error) {
	var out []flight.Rocket
	err := each(ctx, a.r, `SELECT r.config FROM rockets r JOIN sessions s ON s.id = r.session WHERE s.name = ? ORDER BY r.id`,
		[]any{session}, func(rows *sql.Rows) error {
			var text string
			if err := rows.Scan(&text); err != nil {
				return err
			}
			var r flight.Rocket
			if err := json.Unmarshal([]byte(text), &r); err != nil {
				return fmt.Errorf("read rocket: %w", err)
			}
			out = append(out, r)
			return nil
		})
	return out, explain(a.path, "read rockets of session "+session, err)
}

// Links lists the names of a session's links.
func (a *Archive) Links(ctx context.Context, session string) ([]string, error) {
	links, err := a.linksOf(ctx, session)
	if err != nil {
		return nil, explain(a.path, "read links of session "+session, err)
	}
	out := make([]string, len(links))
	for i, l := range links {
		out[i] = l.name
	}
	return out, nil
}

// Rejects lists why frames of a session gave no sample, by link and number.
func (a *Archive) Rejects(ctx context.Context, session string) ([]decode.Rejected, error) {
	var out []decode.Rejected
	err := each(ctx, a.r, `SELECT l.name, r.n, r.kind, r.reason, r.detail, r.layout, r.field, r.offset
		FROM rejects r JOIN links l ON l.id = r.link JOIN sessions s ON s.id = l.session WHERE s.name = ? ORDER BY l.id, r.n`,
		[]any{session}, func(rows *sql.Rows) error {
			r := decode.Rejected{Session: session}
			var n int64
			var offset sql.NullInt64
			err := rows.Scan(&r.Link, &n, &r.Reject.Kind, &r.Reject.Reason, &r.Reject.Detail, &r.Reject.Layout, &r.Reject.Field, &offset)
			r.N, r.Reject.Offset = uint64(n), -1
			if offset.Valid {
				r.Reject.Offset = int(offset.Int64)
			}
			out = append(out, r)
			return err
		})
	return out, explain(a.path, "read rejects of session "+session, err)
}
