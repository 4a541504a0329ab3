package sqlite

import (
	"context"
	"database/sql"
	"math"
	"slices"
	"strings"
	"time"

	"padlark/decode"
	"padlark/storage/sqlite/block"
)

// flightMargin is what belongs to a flight before its liftoff and after its
// touchdown.
const flightMargin = 10 * time.Second

// flightChannels are the channels of the table flight_rows.
func flightChannels() []string {
	return []string{
		decode.PressurePa, decode.TemperatureC, decode.AltitudeM, decode.VelocityMps, decode.AccelMps2,
		decode.CellV, decode.ReleaseUs, decode.ReleaseOn,
		decode.LatitudeDeg, decode.LongitudeDeg, decode.GPSAltitudeM,
	}
}

// flightKey names a flight by row numbers.
type flightKey struct {
	session, rocket int64
	flight          int
}

// rowsOfFlights writes the rows of a session's flights that are not there yet.
func (in *inserter) rowsOfFlights(ctx context.Context, session int64) error {
	var flights []flightKey
	err := each(ctx, in.conn, `SELECT rocket, flight FROM flights WHERE liftoff_ns IS NOT NULL AND session = ?`,
		[]any{session}, func(rows *sql.Rows) error {
			k := flightKey{session: session}
			err := rows.Scan(&k.rocket, &k.flight)
			flights = append(flights, k)
			return err
		})
	for _, k := range flights {
		if err != nil {
			return err
		}
		err = in.rowsOfFlight(ctx, k)
	}
	return err
}

// rowsOfFlight writes the rows of one flight that are not there yet, as far as
// its samples have come: to flightMargin after the touchdown, or to the next
// liftoff.
func (in *inserter) rowsOfFlight(ctx context.Context, k flightKey) error {
	var liftoff, end, next, have sql.NullInt64
	err := in.row(ctx, `SELECT liftoff_ns, touchdown_ns,
		(SELECT MIN(g.liftoff_ns) FROM flights g WHERE g.session = f.session AND g.rocket = f.rocket AND g.liftoff_ns > f.liftoff_ns),
		(SELECT MAX(at_ns) FROM flight_rows r WHERE r.session = f.session AND r.rocket = f.rocket AND r.flight = f.flight)
		FROM flights f WHERE session = ? AND rocket = ? AND flight = ?`, []any{k.session, k.rocket, k.flight}, &liftoff, &end, &next, &have)
	if err != nil || !liftoff.Valid {
		return err
	}
	w := window{from: liftoff.Int64 - flightMargin.Nanoseconds(), to: forEver}
	switch {
	case end.Valid:
		w.to = end.Int64 + flightMargin.Nanoseconds()
	case next.Valid:
		w.to = next.Int64 - flightMargin.Nanoseconds()
	}
	if have.Valid {
		w.from = max(w.from, have.Int64)
	}
	return in.flightRows(ctx, k, k.rocket, w)
}

// flightRows writes the samples of a rocket in a stretch as rows of a flight,
// those that are not there yet.
func (in *inserter) flightRows(ctx context.Context, k flightKey, heard int64, w window) error {
	rows := rowBuffer{in: in, flight: k}
	err := in.eachBlock(ctx, heard, w, func(link int64, v *block.View) error {
		numbers, at := v.Numbers(nil), v.At(nil)
		var names []string
		var columns [][]float64
		for _, name := range flightChannels() {
			if values, ok := v.Channel(name, nil); ok {
				names, columns = append(names, name), append(columns, values)
			}
		}
		if v.Err() != nil {
			return nil // damaged: a reader names it
		}
		if err := rows.of(ctx, link, names); err != nil {
			return err
		}
		for row := range numbers {
			if at[row] < w.from || at[row] > w.to {
				continue
			}
			args := append(rows.args, numbers[row], at[row])
			for i := range columns {
				if x := columns[i][row]; math.IsNaN(x) {
					args = append(args, nil)
				} else {
					args = append(args, x)
				}
			}
			if rows.args = args; len(args) == cap(args) {
				if err := rows.flush(ctx); err != nil {
					return err
				}
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	return rows.flush(ctx)
}

// manyRows are written by one statement: the driver takes longer for a statement
// than for a row, and for a parameter longer than the library for a value.
const manyRows = 48

// rowHead is how many parameters the rows of a statement share.
const rowHead = 4

// rowBuffer gathers rows of the table flight_rows: of one flight by one link, with
// the same channels.
type rowBuffer struct {
	in     *inserter
	flight flightKey
	link   int64
	names  []string
	args   []any // the head and up to manyRows rows
}

// of says what the rows that follow are of; those before are written where it
// differs.
func (b *rowBuffer) of(ctx context.Context, link int64, names []string) error {
	if b.args != nil && link == b.link && slices.Equal(names, b.names) {
		return nil
	}
	if err := b.flush(ctx); err != nil {
		return err
	}
	b.link, b.names = link, names
	b.args = append(make([]any, 0, rowHead+manyRows*(2+len(names))), b.flight.session, b.flight.rocket, b.flight.flight, link)
	return nil
}

// flush writes what has gathered, by one statement where that fills it.
func (b *rowBuffer) flush(ctx context.Context) error {
	if len(b.args) <= rowHead {
		return nil
	}
	head, left := b.args[:rowHead], b.args[rowHead:]
	if len(b.args) == cap(b.args) {
		left = nil
		if _, err := b.in.exec(ctx, insertRows(b.names, manyRows), b.args...); err != nil {
			return err
		}
	}
	width := 2 + len(b.names)
	for one := insertRows(b.names, 1); len(left) > 0; left = left[width:] {
		if _, err := b.in.exec(ctx, one, slices.Concat(head, left[:width])...); err != nil {
			return err
		}
	}
	b.args = head
	return nil
}

func insertRows(names []string, rows int) string {
	columns := strings.Join(append([]string{"session, rocket, flight, link, n, at_ns"}, names...), ", ")
	one := ", (?" + strings.Repeat(", ?", 1+len(names)) + ")"
	return `INSERT INTO flight_rows (` + columns + `) SELECT ?, ?, ?, ?, * FROM (VALUES ` + strings.Repeat(one, rows)[2:] +
		`) WHERE true ON CONFLICT DO NOTHING`
}

// eachBlock opens the blocks of a rocket that touch a stretch of time. A damaged
// one is passed over: a reader names it.
func (in *inserter) eachBlock(ctx context.Context, rocket int64, w window, fn func(link int64, v *block.View) error) error {
	type stored struct {
		link int64
		data []byte
	}
	var found []stored
	err := each(ctx, in.conn, `SELECT link, data FROM sample_blocks WHERE rocket = ? AND at_last_ns >= ? AND at_first_ns <= ? ORDER BY n_first`,
		[]any{rocket, w.from, w.to}, func(rows *sql.Rows) error {
			var s stored
			err := rows.Scan(&s.link, &s.data)
			found = append(found, s)
			return err
		})
	if err != nil {
		return err
	}
	for _, s := range found {
		v, err := in.codec.OpenSamples(s.data)
		if err != nil {
			continue
		}
		err = fn(s.link, v)
		v.Close()
		if err != nil {
			return err
		}
	}
	return nil
}
