package sqlite

import (
	"context"
	"database/sql"
	"slices"
	"time"

	"padlark/storage"
)

// FlightSpan is when a flight was, from its liftoff and touchdown events.
// Times are as recorded, without the session's shift.
type FlightSpan struct {
	Session   string
	Rocket    string
	Flight    int
	Liftoff   *time.Time
	Touchdown *time.Time // nil if none was seen
	// PadPressurePa is the mean pressure from 12 s to 2 s before liftoff, nil if
	// there was none.
	PadPressurePa *float64
	// Void says that a person took it for no flight: see Void.
	Void bool
	// HeardAs is the rocket under whose name it was heard; another than Rocket if a
	// person corrected that.
	HeardAs string

	from, to int64 // of a corrected flight, what belongs to it at the most
}

// Flights lists the flights of a session that count, in the order of their
// liftoffs: all but those that a person took for none.
func (a *Archive) Flights(ctx context.Context, session string) ([]FlightSpan, error) {
	all, err := a.EveryFlight(ctx, session)
	return slices.DeleteFunc(all, func(f FlightSpan) bool { return f.Void }), err
}

// EveryFlight lists the void flights too.
func (a *Archive) EveryFlight(ctx context.Context, session string) ([]FlightSpan, error) {
	var out []FlightSpan
	err := each(ctx, a.r, `SELECT s.epoch_ns, f.rocket, f.flight, f.liftoff_ns, f.touchdown_ns, f.pad_pressure_pa, f.heard_as, f.from_ns, f.to_ns,
			COALESCE((SELECT v.void FROM voids v WHERE v.session = s.id AND v.rocket = f.rocket AND v.flight = f.flight ORDER BY v.id DESC LIMIT 1), 0)
		FROM every_flight f JOIN sessions s ON s.id = f.session
		WHERE s.name = ? ORDER BY f.liftoff_ns, f.rocket`,
		[]any{session}, func(rows *sql.Rows) error {
			f := FlightSpan{Session: session}
			var epoch int64
			var up, down sql.NullInt64
			err := rows.Scan(&epoch, &f.Rocket, &f.Flight, &up, &down, &f.PadPressurePa, &f.HeardAs, &f.from, &f.to, &f.Void)
			f.Liftoff, f.Touchdown = moment(epoch, up), moment(epoch, down)
			out = append(out, f)
			return err
		})
	return out, explain(a.path, "read flights of session "+session, err)
}

func moment(epoch int64, rel sql.NullInt64) *time.Time {
	if !rel.Valid {
		return nil
	}
	t := unix(epoch + rel.Int64)
	return &t
}

// bounds is the stretch that belongs to the flight, in ns since the epoch: it
// ends margin after the touchdown or, if none was seen, margin before the
// rocket's next liftoff.
func (f FlightSpan) bounds(s storage.Session, all []FlightSpan, margin time.Duration) (from, to int64) {
	from, to = f.from, f.to
	if f.Liftoff == nil {
		return from, to
	}
	from = max(from, f.Liftoff.Add(-margin).Sub(s.Epoch).Nanoseconds())
	if f.Touchdown != nil {
		return from, min(to, f.Touchdown.Add(margin).Sub(s.Epoch).Nanoseconds())
	}
	for _, g := range all {
		if g.HeardAs == f.HeardAs && g.Liftoff != nil && g.Liftoff.After(*f.Liftoff) {
			to = min(to, g.Liftoff.Add(-margin).Sub(s.Epoch).Nanoseconds())
		}
	}
	return from, to
}
