package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"time"

	lib "modernc.org/sqlite/lib"

	"padlark/bus"
	"padlark/decode"
	"padlark/flight"
	"padlark/ingest"
	"padlark/storage/sqlite/block"
)

// Write stores messages in one transaction. With an error none is stored, or of
// a batch with one that can be stored in no way the first ones are; what is not
// stored comes again with the same messages. A message that is stored already, by its natural key, changes nothing. Live
// kinds are passed over. A message that cannot be read, or can be stored in no
// way, is set aside in the table unreadable with the reason, so that it neither
// stops the others nor is lost; Aside counts them. Errors wrap ErrFull when the
// disk is full.
func (a *Archive) Write(ctx context.Context, msgs []bus.Msg) error {
	if len(msgs) == 0 {
		return nil
	}
	if err := ctx.Err(); err != nil {
		return fmt.Errorf("store %d messages: %w", len(msgs), err)
	}
	if free, ok := bus.Free(filepath.Dir(a.path)); ok && free < a.reserve {
		return fmt.Errorf("store %d messages in %s: %w; make room, nothing is lost: %d MB are free, and %d MB are kept for the bus",
			len(msgs), a.path, ErrFull, free>>20, a.reserve>>20)
	}
	// A batch is short, so it is not interrupted; the driver would start a
	// goroutine for every row to watch a context that can end.
	ctx = context.WithoutCancel(ctx)
	return a.writeParts(ctx, msgs)
}

// writeParts stores messages together if it can be, and else in halves, until
// the one is found that can never be stored.
func (a *Archive) writeParts(ctx context.Context, msgs []bus.Msg) error {
	err := a.write(ctx, fmt.Sprintf("store %d messages", len(msgs)), func(in *inserter) error {
		for i := range msgs {
			if err := in.message(ctx, &msgs[i]); err != nil {
				return err
			}
		}
		return nil
	})
	if err == nil || !hopeless(err) {
		return err
	}
	if len(msgs) == 1 {
		return a.write(ctx, "set a message aside", func(in *inserter) error { return in.setAside(ctx, &msgs[0], err) })
	}
	half := len(msgs) / 2
	if err := a.writeParts(ctx, msgs[:half]); err != nil {
		return err
	}
	return a.writeParts(ctx, msgs[half:])
}

// hopeless says whether storing the same rows again would fail again, whatever
// the disk and the machine do.
func hopeless(err error) bool {
	switch code(err) {
	case lib.SQLITE_CONSTRAINT, lib.SQLITE_TOOBIG, lib.SQLITE_MISMATCH, lib.SQLITE_RANGE:
		return true
	}
	return errors.Is(err, block.ErrTooLarge) || errors.Is(err, errTooWide)
}

// errTooWide is returned for a sample that has more channels than are kept.
var errTooWide = errors.New("too many channels")

// Aside is how many messages have been set aside since the archive was opened,
// and why the last one was.
func (a *Archive) Aside() (n uint64, why string) {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.aside.n, a.aside.why
}

// asideCount counts what is set aside.
type asideCount struct {
	n   uint64
	why string
}

func (in *inserter) message(ctx context.Context, m *bus.Msg) error {
	switch m.Kind {
	case bus.Frame:
		f, err := m.Frame()
		if err != nil {
			return in.setAside(ctx, m, err)
		}
		// A session that nobody has announced gets the station that sent it and the
		// epoch that its first frame implies.
		if _, err := in.session(ctx, f.Session, m.Sender(), f.Heard.Add(-time.Duration(f.Mono))); err != nil {
			return err
		}
		return in.frame(ctx, &f, m.Seq)
	case bus.Sample:
		s, err := m.Sample()
		if err != nil {
			return in.setAside(ctx, m, err)
		}
		if err = in.sample(ctx, &s); errors.Is(err, errTooWide) {
			return in.setAside(ctx, m, err)
		}
		return err
	case bus.Reject:
		r, err := m.Reject()
		if err != nil {
			return in.setAside(ctx, m, err)
		}
		return in.reject(ctx, &r)
	case bus.Event:
		e, err := m.Event()
		if err != nil {
			return in.setAside(ctx, m, err)
		}
		return in.event(ctx, &e, m.Seq)
	case bus.Alarm:
		al, err := m.Alarm()
		if err != nil {
			return in.setAside(ctx, m, err)
		}
		return in.alarm(ctx, &al, m.Seq)
	}
	return nil
}

// setAside keeps a message that is not what its kind promises.
func (in *inserter) setAside(ctx context.Context, m *bus.Msg, why error) error {
	res, err := in.exec(ctx, `INSERT INTO unreadable (ord, subject, data, reason) VALUES (?, ?, ?, ?)
		ON CONFLICT DO NOTHING`, int64(m.Seq), m.Subject, string(m.Data), why.Error())
	if err != nil {
		return err
	}
	added, err := res.RowsAffected()
	if added > 0 {
		in.aside.n += uint64(added)
		in.aside.why = fmt.Sprintf("message %d on %s: %v", m.Seq, m.Subject, why)
	}
	return err
}

// frame puts a frame where it waits for the end of the transaction.
func (in *inserter) frame(ctx context.Context, f *ingest.Frame, ord uint64) error {
	if !in.toFrames.is(f.Session, f.Link, "") {
		n, err := in.session(ctx, f.Session, "", f.Heard.Add(-time.Duration(f.Mono)))
		if err != nil {
			return err
		}
		l, err := in.link(ctx, n, f.Link)
		if err != nil {
			return err
		}
		in.toFrames = target{session: f.Session, link: f.Link, names: n, frames: in.frames.batch(track{link: l})}
	}
	n, to := in.toFrames.names, in.toFrames.frames
	if f.RSSI != nil {
		to.RSSI.Put(to.Rows(), *f.RSSI)
	}
	to.N = append(to.N, int64(f.N))
	to.Mono = append(to.Mono, f.Mono)
	to.Passed = append(to.Passed, f.Passed)
	to.Ord = append(to.Ord, int64(ord))
	to.Off = append(to.Off, n.rel(f.Heard)-f.Mono)
	to.Wire = append(to.Wire, int64(f.Wire))
	to.Baud = append(to.Baud, int64(f.Baud))
	to.Bytes = append(to.Bytes, f.Bytes)
	return nil
}

// sample puts a sample where it waits for the end of the transaction. A channel
// whose value is not a number is not measured and left out, as on the bus.
func (in *inserter) sample(ctx context.Context, s *decode.Sample) error {
	if n := len(s.Values.Names); n > mostChannels {
		return fmt.Errorf("sample %d of rocket %s has %w: %d, and at most %d are kept", s.N, s.Rocket, errTooWide, n, mostChannels)
	}
	if !in.toSamples.is(s.Session, s.Link, s.Rocket) {
		n, err := in.session(ctx, s.Session, "", s.Heard)
		if err != nil {
			return err
		}
		l, err := in.link(ctx, n, s.Link)
		if err != nil {
			return err
		}
		rocket, err := in.rocket(ctx, n, s.Rocket)
		if err != nil {
			return err
		}
		in.toSamples = target{s.Session, s.Link, s.Rocket, n, nil, in.samples.batch(track{rocket, l})}
	}
	n, to := in.toSamples.names, in.toSamples.samples
	if len(to.Channels) > mostChannels {
		// Names that change from sample to sample: what there is becomes a block,
		// and the names of old are forgotten.
		if err := in.samples.flush(ctx, in); err != nil {
			return err
		}
		*to, in.toSamples = block.Samples{}, target{}
		return in.sample(ctx, s)
	}
	row := to.Rows()
	if s.RSSI != nil {
		to.RSSI.Put(row, *s.RSSI)
	}
	for i, name := range s.Values.Names {
		if v := s.Values.Values[i]; !math.IsNaN(v) && !math.IsInf(v, 0) {
			to.Channel(name, i).Put(row, v)
		}
	}
	to.N = append(to.N, int64(s.N))
	to.Boot = append(to.Boot, int64(s.Boot))
	to.Seq = append(to.Seq, max(s.Seq, -1))
	to.Clock = append(to.Clock, max(s.Clock, -1))
	to.At = append(to.At, n.rel(s.At))
	to.Mono = append(to.Mono, n.rel(s.Heard))
	to.Passed = append(to.Passed, s.Passed)
	return nil
}

// rel is a time in ns since the session's epoch.
func (n *sessionNames) rel(t time.Time) int64 { return t.Sub(n.epoch).Nanoseconds() }

func (in *inserter) reject(ctx context.Context, r *decode.Rejected) error {
	n, err := in.session(ctx, r.Session, "", unix(0))
	if err != nil {
		return err
	}
	l, err := in.link(ctx, n, r.Link)
	if err != nil {
		return err
	}
	var offset any
	if r.Reject.Offset >= 0 {
		offset = r.Reject.Offset
	}
	_, err = in.exec(ctx, `INSERT INTO rejects (link, n, kind, reason, detail, layout, field, offset)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT DO NOTHING`,
		l, int64(r.N), string(r.Reject.Kind), r.Reject.Reason, r.Reject.Detail, r.Reject.Layout, r.Reject.Field, offset)
	return err
}

func (in *inserter) event(ctx context.Context, e *flight.Event, ord uint64) error {
	n, err := in.session(ctx, e.Session, "", e.At)
	if err != nil {
		return err
	}
	res, err := in.exec(ctx, `INSERT INTO events (session, id, ord, rocket, kind, flight, at_ns, called_ns,
		at_sd_s, altitude_m, altitude_sd_m, speed_mps, note)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT DO NOTHING`,
		n.id, e.ID, int64(ord), e.Rocket, string(e.Kind), e.Flight, n.rel(e.At), n.rel(e.CalledAt),
		nullable(e.AtSD), nullable(e.AltitudeM), nullable(e.AltitudeSD), nullable(e.SpeedMps), e.Note)
	if err != nil || e.Flight <= 0 {
		return err
	}
	// Only an event that is new may change the flight.
	if added, err := res.RowsAffected(); err != nil || added == 0 {
		return err
	}
	switch e.Kind {
	case flight.Liftoff:
		return in.liftoff(ctx, n, e)
	case flight.Touchdown:
		return in.touchdown(ctx, n, e)
	}
	return nil
}

// The pad's pressure is averaged from padFrom to padTo before liftoff: long
// enough to be quiet, and far enough away not to feel the launch.
const (
	padFrom = 12 * time.Second
	padTo   = 2 * time.Second
)

func (in *inserter) liftoff(ctx context.Context, n *sessionNames, e *flight.Event) error {
	rocket, err := in.rocket(ctx, n, e.Rocket)
	if err != nil {
		return err
	}
	_, err = in.exec(ctx, `INSERT INTO flights (session, rocket, flight, liftoff_ns) VALUES (?, ?, ?, ?)
		ON CONFLICT DO UPDATE SET liftoff_ns = excluded.liftoff_ns`, n.id, rocket, e.Flight, n.rel(e.At))
	if err != nil {
		return err
	}
	return in.padPressure(ctx, n, rocket, e.Flight)
}

func (in *inserter) touchdown(ctx context.Context, n *sessionNames, e *flight.Event) error {
	rocket, err := in.rocket(ctx, n, e.Rocket)
	if err != nil {
		return err
	}
	_, err = in.exec(ctx, `INSERT INTO flights (session, rocket, flight, touchdown_ns) VALUES (?, ?, ?, ?)
		ON CONFLICT DO UPDATE SET touchdown_ns = excluded.touchdown_ns`, n.id, rocket, e.Flight, n.rel(e.At))
	if err != nil {
		return err
	}
	// Once more: after a crash the bus may have brought the liftoff before the
	// samples.
	if err := in.padPressure(ctx, n, rocket, e.Flight); err != nil {
		return err
	}
	return in.rowsOfFlight(ctx, flightKey{n.id, rocket, e.Flight})
}

// padPressure stores the mean pressure of a rocket before a flight.
func (in *inserter) padPressure(ctx context.Context, n *sessionNames, rocket int64, nr int) error {
	// The samples may be waiting in the same transaction.
	if err := in.samples.flush(ctx, in); err != nil {
		return err
	}
	in.toSamples = target{} // its batch may have been given up
	var liftoff sql.NullInt64
	err := in.row(ctx, `SELECT liftoff_ns FROM flights WHERE session = ? AND rocket = ? AND flight = ?`, []any{n.id, rocket, nr}, &liftoff)
	if err != nil || !liftoff.Valid {
		return err
	}
	mean, err := in.meanPressure(ctx, rocket, window{from: liftoff.Int64 - padFrom.Nanoseconds(), to: liftoff.Int64 - padTo.Nanoseconds()})
	if err != nil {
		return err
	}
	_, err = in.exec(ctx, `UPDATE flights SET pad_pressure_pa = ? WHERE session = ? AND rocket = ? AND flight = ?`, nullable(mean), n.id, rocket, nr)
	return err
}

// meanPressure is nil if a rocket measured no pressure in a stretch of time.
func (in *inserter) meanPressure(ctx context.Context, rocket int64, w window) (*float64, error) {
	sum, count := 0.0, 0
	err := in.eachBlock(ctx, rocket, w, func(_ int64, v *block.View) error {
		p, _ := v.Channel(decode.PressurePa, nil)
		for i, at := range v.At(nil) {
			if at >= w.from && at <= w.to && !math.IsNaN(p[i]) {
				sum += p[i]
				count++
			}
		}
		return nil
	})
	if err != nil || count == 0 {
		return nil, err
	}
	mean := sum / float64(count)
	return &mean, nil
}

func (in *inserter) alarm(ctx context.Context, al *flight.Alarm, ord uint64) error {
	n, err := in.session(ctx, al.Session, "", al.RaisedAt)
	if err != nil {
		return err
	}
	_, err = in.exec(ctx, `INSERT INTO alarms (session, id, change, ord, rocket, link, flight, kind, priority,
		active, acked, raised_ns, changed_ns, say, reason)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT DO NOTHING`,
		n.id, al.ID, al.Change, int64(ord), al.Rocket, al.Link, al.Flight, al.Kind, int(al.Priority),
		al.Active, al.Acked, n.rel(al.RaisedAt), n.rel(al.ChangedAt), al.Say, al.Reason)
	return err
}

func nullable(p *float64) any {
	if p == nil {
		return nil
	}
	return *p
}
