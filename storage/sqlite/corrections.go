package sqlite

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"time"

	"padlark/flight"
	"padlark/storage"
)

// Correction is what a person said of flights that were told apart wrongly: the
// flights that it takes away, and those that it puts in their place. All
// statements are kept; what readers give follows those that are not undone,
// unless Query.AsHeard.
type Correction struct {
	ID      int64             `json:"id"` // given by the archive
	Session string            `json:"session"`
	Kind    string            `json:"kind"` // join, split or rename
	At      time.Time         `json:"at"`   // by the session's recorded clock
	Undone  bool              `json:"undone"`
	Was     []FlightName      `json:"was"`
	Now     []CorrectedFlight `json:"now"`
	// Made are the rockets that the session had not known before.
	Made []flight.Rocket `json:"made"`
}

// FlightName names a flight in its session.
type FlightName struct {
	Rocket string `json:"rocket"`
	Flight int    `json:"flight"`
}

// String is rocket-number.
func (n FlightName) String() string { return fmt.Sprintf("%s-%d", n.Rocket, n.Flight) }

// CorrectedFlight is a flight as a person corrected it. Times are as recorded.
type CorrectedFlight struct {
	FlightName
	// HeardAs is the rocket under whose name its samples were heard, in the stretch
	// from From to To, in ns since the session's epoch.
	HeardAs string `json:"heard_as"`
	From    int64  `json:"from_ns"`
	To      int64  `json:"to_ns"`
	// PadPressurePa is as in FlightSpan.
	PadPressurePa *float64       `json:"pad_pressure_pa"`
	Events        []flight.Event `json:"events"`
}

// when is the moment of the first event of a kind, in ns since the epoch.
func (f *CorrectedFlight) when(k flight.Kind, epoch time.Time) sql.NullInt64 {
	for i := range f.Events {
		if f.Events[i].Kind == k {
			return sql.NullInt64{Int64: f.Events[i].At.Sub(epoch).Nanoseconds(), Valid: true}
		}
	}
	return sql.NullInt64{}
}

// Corrections lists all statements on the flights of a session, oldest first.
func (a *Archive) Corrections(ctx context.Context, session string) ([]Correction, error) {
	out, err := corrections(ctx, a.r, session)
	return out, explain(a.path, "read corrections of session "+session, err)
}

func corrections(ctx context.Context, db querier, session string) ([]Correction, error) {
	var out []Correction
	err := each(ctx, db, `SELECT c.id, c.kind, c.at_ns + s.epoch_ns, c.undone, c.doc
		FROM corrections c JOIN sessions s ON s.id = c.session WHERE s.name = ? ORDER BY c.id`,
		[]any{session}, func(rows *sql.Rows) error {
			var c Correction
			var text string
			var id, at int64
			if err := rows.Scan(&id, &c.Kind, &at, &c.Undone, &text); err != nil {
				return err
			}
			undone := c.Undone
			if err := json.Unmarshal([]byte(text), &c); err != nil {
				return fmt.Errorf("read correction %d: %w", id, err)
			}
			c.ID, c.Session, c.At, c.Undone = id, session, unix(at), undone
			out = append(out, c)
			return nil
		})
	return out, err
}

// Correct keeps a statement.
func (a *Archive) Correct(ctx context.Context, c Correction) error {
	return a.recorrect(ctx, "correct flights of session "+c.Session, c.Session, func(in *inserter, id int64, epoch time.Time) error {
		doc, err := json.Marshal(c)
		if err != nil {
			return err
		}
		_, err = in.exec(ctx, `INSERT INTO corrections (session, kind, at_ns, undone, doc) VALUES (?, ?, ?, ?, ?)`,
			id, c.Kind, c.At.Sub(epoch).Nanoseconds(), c.Undone, string(doc))
		return err
	})
}

// UndoCorrection takes a statement back. None that is not undone may have come
// after it to the same flights.
func (a *Archive) UndoCorrection(ctx context.Context, session string, id int64) error {
	return a.recorrect(ctx, "undo a correction in session "+session, session, func(in *inserter, row int64, _ time.Time) error {
		_, err := in.exec(ctx, `UPDATE corrections SET undone = 1 WHERE session = ? AND id = ?`, row, id)
		return err
	})
}

// recorrect runs fn and then works out anew what the statements come to.
func (a *Archive) recorrect(ctx context.Context, doing, session string, fn func(in *inserter, id int64, epoch time.Time) error) error {
	return a.write(ctx, doing, func(in *inserter) error {
		var id, ns int64
		if err := in.row(ctx, `SELECT id, epoch_ns FROM sessions WHERE name = ?`, []any{session}, &id, &ns); err != nil {
			return fmt.Errorf("%w: %s", storage.ErrNoSession, session)
		}
		if err := fn(in, id, unix(ns)); err != nil {
			return err
		}
		all, err := corrections(ctx, in.conn, session)
		if err != nil {
			return err
		}
		// Rows of flights are made anew, those of recorded ones too: a statement
		// that was undone may have lengthened them.
		for _, of := range []string{`DELETE FROM flight_rows WHERE session = ?`, `DELETE FROM corrected_flights WHERE session = ?`,
			`DELETE FROM corrected_events WHERE session = ?`, `DELETE FROM corrected_names WHERE session = ?`} {
			if _, err := in.exec(ctx, of, id); err != nil {
				return err
			}
		}
		if err := in.rowsOfFlights(ctx, id); err != nil {
			return err
		}
		names, err := in.session(ctx, session, "", unix(ns))
		if err != nil {
			return err
		}
		if err := in.makeRockets(ctx, names, all); err != nil {
			return err
		}
		now, moved := settle(all)
		for i := range now {
			if err := in.correctedFlight(ctx, names, &now[i]); err != nil {
				return err
			}
		}
		for _, m := range moved {
			_, err := in.exec(ctx, `INSERT INTO corrected_names (session, rocket, flight, from_ns, now_rocket, now_flight) VALUES (?, ?, ?, ?, ?, ?)`,
				id, m.was.Rocket, m.was.Flight, m.from, m.now.Rocket, m.now.Flight)
			if err != nil {
				return err
			}
		}
		return nil
	})
}

// makeRockets describes the rockets that only corrections know of, and drops
// those of statements that were undone.
func (in *inserter) makeRockets(ctx context.Context, n *sessionNames, all []Correction) error {
	for _, c := range all {
		for _, r := range c.Made {
			if !c.Undone {
				if err := in.describeRocket(ctx, n, r); err != nil {
					return err
				}
				continue
			}
			delete(n.rockets, r.Name)
			_, err := in.exec(ctx, `DELETE FROM rockets WHERE session = ?1 AND name = ?2 AND NOT EXISTS (SELECT 1 FROM sample_blocks b WHERE b.rocket = rockets.id)
				AND NOT EXISTS (SELECT 1 FROM flights f WHERE f.session = ?1 AND f.rocket = rockets.id)`, n.id, r.Name)
			if err != nil {
				return err
			}
		}
	}
	return nil
}

func (in *inserter) correctedFlight(ctx context.Context, n *sessionNames, f *CorrectedFlight) error {
	of, err := in.rocket(ctx, n, f.Rocket)
	if err != nil {
		return err
	}
	heard, err := in.rocket(ctx, n, f.HeardAs)
	if err != nil {
		return err
	}
	for _, e := range f.Events {
		_, err := in.exec(ctx, `INSERT INTO corrected_events (session, id, rocket, kind, flight, at_ns, called_ns, at_sd_s, altitude_m, altitude_sd_m, speed_mps, note)
			VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`, n.id, e.ID, f.Rocket, e.Kind, f.Flight, e.At.Sub(n.epoch).Nanoseconds(), e.CalledAt.Sub(n.epoch).Nanoseconds(),
			e.AtSD, e.AltitudeM, e.AltitudeSD, e.SpeedMps, e.Note)
		if err != nil {
			return err
		}
	}
	up, down := f.when(flight.Liftoff, n.epoch), f.when(flight.Touchdown, n.epoch)
	_, err = in.exec(ctx, `INSERT INTO corrected_flights (session, rocket, flight, heard_as, from_ns, to_ns, liftoff_ns, touchdown_ns, pad_pressure_pa)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)`, n.id, of, f.Flight, heard, f.From, f.To, up, down, f.PadPressurePa)
	if err != nil || !up.Valid {
		return err
	}
	w := window{from: max(f.From, up.Int64-flightMargin.Nanoseconds()), to: f.To}
	if down.Valid {
		w.to = min(w.to, down.Int64+flightMargin.Nanoseconds())
	}
	return in.flightRows(ctx, flightKey{n.id, of, f.Flight}, heard, w)
}

// moved says under which name a flight that was taken away is found from a
// moment on, in ns since the epoch.
type moved struct {
	was  FlightName
	from int64
	now  FlightName
}

// settle works out what statements come to.
func settle(all []Correction) (now []CorrectedFlight, names []moved) {
	valid := slices.DeleteFunc(slices.Clone(all), func(c Correction) bool { return c.Undone })
	at := []int64{math.MinInt64}
	was := map[FlightName]bool{}
	for _, c := range valid {
		now = slices.DeleteFunc(now, func(f CorrectedFlight) bool { return slices.Contains(c.Was, f.FlightName) })
		now = append(now, c.Now...)
		for _, n := range c.Was {
			was[n] = true
		}
		for _, f := range c.Now {
			at = append(at, f.From)
		}
	}
	slices.Sort(at)
	for n := range was {
		var last FlightName
		for _, t := range slices.Compact(at) {
			to := n
			for _, c := range valid {
				if slices.Contains(c.Was, to) {
					to = c.place(t)
				}
			}
			if to != last {
				names, last = append(names, moved{n, t, to}), to
			}
		}
	}
	slices.SortFunc(names, func(a, b moved) int {
		return cmp.Or(cmp.Compare(a.was.Rocket, b.was.Rocket), cmp.Compare(a.was.Flight, b.was.Flight), cmp.Compare(a.from, b.from))
	})
	return now, names
}

// place is the flight to which a moment belongs after the correction.
func (c *Correction) place(at int64) FlightName {
	for _, f := range c.Now {
		if at < f.To {
			return f.FlightName
		}
	}
	return c.Now[len(c.Now)-1].FlightName
}
