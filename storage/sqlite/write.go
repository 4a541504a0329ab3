package sqlite

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"time"

	lib "modernc.org/sqlite/lib"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/phrase"
	"padlark/ingest"
	"padlark/storage"
	"padlark/storage/sqlite/block"
)

// Write stores entries in one transaction. With an error none is stored, or of a
// batch with one that can be stored in no way the first ones are; what is not
// stored comes again with the same entries. One that is stored already, by its
// natural key, changes nothing. What can be stored in no way is set aside in the
// table unreadable with the reason, so that it neither stops the others nor is
// lost; Aside counts them. Errors wrap ErrFull when the disk is full.
func (a *Archive) Write(ctx context.Context, entries []storage.Entry) error {
	return a.follow(ctx, entries, "", 0)
}

// Follow is Write for what came out of a session's journal: it stores with them
// how far that has been followed, in bytes.
func (a *Archive) Follow(ctx context.Context, session string, place int64, entries []storage.Entry) error {
	return a.follow(ctx, entries, session, place)
}

func (a *Archive) follow(ctx context.Context, entries []storage.Entry, session string, place int64) error {
	if len(entries) == 0 {
		return nil
	}
	if err := ctx.Err(); err != nil {
		return fmt.Errorf("store %d entries: %w", len(entries), err)
	}
	if free, ok := storage.Free(filepath.Dir(a.path)); ok && free < a.reserve {
		return fmt.Errorf("store %d entries in %s: %w; make room, nothing is lost: %d MB are free, and %d MB are kept for the journal",
			len(entries), a.path, ErrFull, free>>20, a.reserve>>20)
	}
	// A batch is short, so it is not interrupted; the driver would start a
	// goroutine for every row to watch a context that can end.
	ctx = context.WithoutCancel(ctx)
	return a.writeParts(ctx, entries, session, place)
}

// writeParts stores entries together if it can be, and else in halves, until the
// one is found that can never be stored.
func (a *Archive) writeParts(ctx context.Context, entries []storage.Entry, session string, place int64) error {
	write := func(doing string, fn func(*inserter) error) error {
		return a.write(ctx, doing, func(in *inserter) error {
			if err := fn(in); err != nil || session == "" {
				return err
			}
			_, err := in.exec(ctx, `UPDATE sessions SET journal_at = MAX(journal_at, ?) WHERE name = ?`, place, session)
			return err
		})
	}
	err := write(fmt.Sprintf("store %d entries", len(entries)), func(in *inserter) error {
		for i := range entries {
			if err := in.entry(ctx, &entries[i]); err != nil {
				return err
			}
		}
		return nil
	})
	if err == nil || !hopeless(err) {
		return err
	}
	if len(entries) == 1 {
		if parts := entries[0].Parts(); len(parts) > 1 {
			return a.writeParts(ctx, parts, session, place)
		}
		return write("set an entry aside", func(in *inserter) error { return in.setAside(ctx, &entries[0], err) })
	}
	half := len(entries) / 2
	if err := a.writeParts(ctx, entries[:half], session, min(place, int64(entries[half-1].Seq))); err != nil {
		return err
	}
	return a.writeParts(ctx, entries[half:], session, place)
}

// JournalPlace is how far a session's journal has been followed, in bytes; 0 if
// the session is not there.
func (a *Archive) JournalPlace(ctx context.Context, session string) (int64, error) {
	var at int64
	err := a.r.QueryRowContext(ctx, `SELECT journal_at FROM sessions WHERE name = ?`, session).Scan(&at)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, nil
	}
	return at, explain(a.path, "look up how far the journal has been followed", err)
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

func (in *inserter) entry(ctx context.Context, e *storage.Entry) error {
	if e.Frame != nil {
		if err := in.frame(ctx, e.Frame, e.Seq); err != nil {
			return err
		}
	}
	if e.Sample != nil {
		err := in.sample(ctx, e.Sample)
		for i := 0; i < len(e.More) && err == nil; i++ {
			err = in.sample(ctx, &e.More[i])
		}
		if errors.Is(err, errTooWide) {
			return in.setAside(ctx, e, err)
		} else if err != nil {
			return err
		}
	}
	if e.Reject != nil {
		if err := in.reject(ctx, e.Reject); err != nil {
			return err
		}
	}
	if e.Event != nil {
		if err := in.event(ctx, e.Event, e.Seq); err != nil {
			return err
		}
	}
	if e.Alarm != nil {
		return in.alarm(ctx, e.Alarm, e.Seq)
	}
	if c := e.Change; c != nil {
		return in.change(ctx, c)
	}
	return nil
}

// change stores that a session's configuration is another from a moment on.
func (in *inserter) change(ctx context.Context, c *storage.Change) error {
	_, err := in.exec(ctx, `INSERT INTO changes (session, at_ns, config) SELECT id, ?, ? FROM sessions WHERE name = ?
		ON CONFLICT DO NOTHING`, c.At, c.Info.Config, c.Session)
	return err
}

// setAside keeps an entry that cannot be stored.
func (in *inserter) setAside(ctx context.Context, e *storage.Entry, why error) error {
	kind, text := "sample", []byte(nil)
	var err error
	switch {
	case e.Event != nil:
		kind, text, err = asText("event", e.Event)
	case e.Alarm != nil:
		kind, text, err = asText("alarm", e.Alarm)
	case e.Reject != nil:
		kind, text, err = asText("reject", e.Reject)
	case e.Sample != nil:
		kind, text, err = asText("sample", e.Sample)
	case e.Frame != nil:
		kind, text, err = asText("frame", e.Frame)
	}
	if err != nil {
		return err
	}
	res, err := in.exec(ctx, `INSERT INTO unreadable (ord, subject, data, reason) VALUES (?, ?, ?, ?)
		ON CONFLICT DO NOTHING`, int64(e.Seq), kind, string(text), why.Error())
	if err != nil {
		return err
	}
	added, err := res.RowsAffected()
	if added > 0 {
		in.aside.n += uint64(added)
		in.aside.why = fmt.Sprintf("the %s at %d: %v", kind, e.Seq, why)
	}
	return err
}

func asText(kind string, v any) (string, []byte, error) {
	text, err := json.Marshal(v)
	return kind, text, err
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
	to.N = append(to.N, sampleNumber(s))
	to.Boot = append(to.Boot, int64(s.Boot))
	to.Seq = append(to.Seq, max(s.Seq, -1))
	to.Clock = append(to.Clock, max(s.Clock, -1))
	to.At = append(to.At, n.rel(s.At))
	to.Mono = append(to.Mono, n.rel(s.Heard))
	to.Passed = append(to.Passed, s.Passed)
	return nil
}

// A sample's number in the archive is its frame's. That of one of several of a
// frame has the number of the part below it and a bit above it, so that it is one of
// its own and rises with the others; a float64 still holds it exactly.
const (
	partBits = 10
	partFlag = 1 << 52
)

func sampleNumber(s *decode.Sample) int64 {
	if s.Part == 0 {
		return int64(s.N)
	}
	return partFlag | int64(s.N)<<partBits | int64(s.Part)
}

// numberParts is what sampleNumber made a number of.
func numberParts(number int64) (n uint64, part uint16) {
	if number&partFlag == 0 {
		return uint64(number), 0
	}
	return uint64(number&^partFlag) >> partBits, uint16(number & (1<<partBits - 1))
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
	case flight.Sounded:
		return in.sounded(ctx, n, e)
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

// sounded makes a flight of which only the sounder has told.
func (in *inserter) sounded(ctx context.Context, n *sessionNames, e *flight.Event) error {
	rocket, err := in.rocket(ctx, n, e.Rocket)
	if err != nil {
		return err
	}
	_, err = in.exec(ctx, `INSERT INTO flights (session, rocket, flight) VALUES (?, ?, ?) ON CONFLICT DO NOTHING`, n.id, rocket, e.Flight)
	return err
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
	words, err := json.Marshal(alarmPhrases{al.SayPhrase, al.ReasonPhrase})
	if err != nil {
		return fmt.Errorf("write alarm %s: %w", al.ID, err)
	}
	_, err = in.exec(ctx, `INSERT INTO alarms (session, id, change, ord, rocket, link, flight, kind, priority,
		active, acked, raised_ns, changed_ns, say, reason, phrases)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT DO NOTHING`,
		n.id, al.ID, al.Change, int64(ord), al.Rocket, al.Link, al.Flight, al.Kind, int(al.Priority),
		al.Active, al.Acked, n.rel(al.RaisedAt), n.rel(al.ChangedAt), al.Say, al.Reason, string(words))
	return err
}

// alarmPhrases is the column of that name.
type alarmPhrases struct {
	Say    phrase.Phrase `json:"say"`
	Reason phrase.Phrase `json:"reason"`
}

func nullable(p *float64) any {
	if p == nil {
		return nil
	}
	return *p
}
