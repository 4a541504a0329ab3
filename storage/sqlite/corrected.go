package sqlite

import (
	"cmp"
	"context"
	"database/sql"
	"slices"
)

// corrected is what corrections come to, for the readers of a session; nil where
// nobody corrected anything.
type corrected struct {
	flights []correctedSpan
	names   []moved
}

type correctedSpan struct {
	FlightName
	heardAs  string
	from, to int64
}

// correctedOf reads what the corrections of a session come to.
func (a *Archive) correctedOf(ctx context.Context, session int64) (*corrected, error) {
	c := &corrected{}
	err := each(ctx, a.r, `SELECT rocket, flight, from_ns, now_rocket, now_flight FROM corrected_names WHERE session = ? ORDER BY rocket, flight, from_ns`,
		[]any{session}, func(rows *sql.Rows) error {
			var m moved
			err := rows.Scan(&m.was.Rocket, &m.was.Flight, &m.from, &m.now.Rocket, &m.now.Flight)
			c.names = append(c.names, m)
			return err
		})
	if err != nil || len(c.names) == 0 {
		return nil, err
	}
	err = each(ctx, a.r, `SELECT r.name, f.flight, h.name, f.from_ns, f.to_ns FROM corrected_flights f
		JOIN rockets r ON r.id = f.rocket JOIN rockets h ON h.id = f.heard_as WHERE f.session = ? ORDER BY f.from_ns`,
		[]any{session}, func(rows *sql.Rows) error {
			var f correctedSpan
			err := rows.Scan(&f.Rocket, &f.Flight, &f.heardAs, &f.from, &f.to)
			c.flights = append(c.flights, f)
			return err
		})
	return c, err
}

// name is under which name a flight is found; was says that it was taken away.
func (c *corrected) name(n FlightName, at int64) (now FlightName, was bool) {
	now = n
	if c == nil {
		return now, false
	}
	for _, m := range c.names {
		if m.was == n && (!was || m.from <= at) {
			now, was = m.now, true
		}
	}
	return now, was
}

// part is a stretch of what was heard of a rocket that is shown under a name.
type part struct {
	name    string // that it is shown under
	heardAs string // that its samples are stored under
	window
}

// parts cuts the stretch that somebody asks for of a rocket into what was heard
// under its own name and what was corrected to be its.
func (c *corrected) parts(name string, w window) []part {
	if c == nil {
		return []part{{name, name, w}}
	}
	out := []part{}
	from := w.from
	add := func(heard string, from, to int64) {
		if from = max(from, w.from); from <= min(to, w.to) {
			out = append(out, part{name, heard, window{from, min(to, w.to), w.passed, w.until}})
		}
	}
	for _, f := range c.flights { // in the order of their times
		if f.heardAs == f.Rocket {
			continue
		}
		if f.heardAs == name {
			add(name, from, f.from-1)
			from = max(from, f.to)
		}
		if f.Rocket == name {
			add(f.heardAs, f.from, f.to-1)
		}
	}
	add(name, from, w.to)
	slices.SortStableFunc(out, func(a, b part) int { return cmp.Compare(a.from, b.from) })
	return out
}
