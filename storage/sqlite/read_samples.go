package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"time"

	"padlark/decode"
)

// Query chooses samples, events or alarms; the zero value of a field means all.
type Query struct {
	Session string
	Rocket  string
	// Flight chooses one flight of the rocket: for samples, those from Margin
	// before its liftoff to Margin after its touchdown (10 s if zero).
	Flight int
	Margin time.Duration
	// From and To bound the time at which a thing was (Sample.At, Event.At,
	// Alarm.ChangedAt), with the session's shift.
	From, To time.Time
	// Recorded gives the times as they were recorded, without the session's shift.
	Recorded bool
}

// Samples calls fn for every sample that q chooses: session after session,
// rocket after rocket by name, each in the order in which they passed. The
// sample is fn's to keep. An error of fn ends it and is returned.
func (a *Archive) Samples(ctx context.Context, q Query, fn func(*decode.Sample) error) error {
	sessions, err := a.chosen(ctx, q)
	if err != nil {
		return err
	}
	for _, s := range sessions {
		if err := a.sessionSamples(ctx, s, q, fn); err != nil {
			return err
		}
	}
	return nil
}

// chosen lists the sessions that q asks for.
func (a *Archive) chosen(ctx context.Context, q Query) ([]Session, error) {
	if q.Session == "" {
		return a.Sessions(ctx)
	}
	s, err := a.Session(ctx, q.Session)
	if err != nil {
		return nil, err
	}
	return []Session{s}, nil
}

func (a *Archive) sessionSamples(ctx context.Context, s Session, q Query, fn func(*decode.Sample) error) error {
	doing := "read samples of session " + s.ID
	links, err := a.linksOf(ctx, s.ID)
	if err != nil {
		return explain(a.path, doing, err)
	}
	rockets, err := a.Rockets(ctx, s.ID)
	if err != nil {
		return err
	}
	names := make([]string, 0, len(rockets))
	for _, r := range rockets {
		if q.Rocket == "" || r.Name == q.Rocket {
			names = append(names, r.Name)
		}
	}
	slices.Sort(names)
	for _, name := range names {
		w, err := a.window(ctx, s, name, q)
		if errors.Is(err, errDone) {
			continue
		}
		if err == nil {
			err = a.rocketSamples(ctx, s, links, name, w, q, fn)
		}
		var stop *callerError
		if errors.As(err, &stop) {
			return stop.err
		}
		if err != nil {
			return explain(a.path, doing, err)
		}
	}
	return nil
}

// callerError carries an error of the caller's function through our own.
type callerError struct{ err error }

func (c *callerError) Error() string { return c.err.Error() }

// window is a stretch of recorded time, in ns since the epoch; both ends count.
type window struct{ from, to int64 }

const (
	always  = int64(-1) << 62
	forEver = int64(1) << 62
)

// window finds the stretch that q asks for; errDone if there is none.
func (a *Archive) window(ctx context.Context, s Session, rocket string, q Query) (window, error) {
	w := window{always, forEver}
	if !q.From.IsZero() {
		w.from = q.bound(s, q.From)
	}
	if !q.To.IsZero() {
		w.to = q.bound(s, q.To)
	}
	if q.Flight == 0 {
		return w, nil
	}
	spans, err := a.Flights(ctx, s.ID)
	if err != nil {
		return w, err
	}
	margin := q.Margin
	if margin == 0 {
		margin = 10 * time.Second
	}
	for _, f := range spans {
		if f.Rocket != rocket || f.Flight != q.Flight {
			continue
		}
		from, to := f.bounds(s, spans, margin)
		return window{max(w.from, from), min(w.to, to)}, nil
	}
	return w, errDone
}

// bound turns a time of the caller's into recorded ns since the epoch.
func (q Query) bound(s Session, t time.Time) int64 {
	if !q.Recorded {
		t = t.Add(-s.Shift)
	}
	return t.Sub(s.Epoch).Nanoseconds()
}

func (a *Archive) rocketSamples(ctx context.Context, s Session, links []storedLink, name string, w window, q Query, fn func(*decode.Sample) error) error {
	id, err := a.rocketRow(ctx, s.ID, name)
	if err != nil {
		return err
	}
	shift := s.Shift
	if q.Recorded {
		shift = 0
	}
	join := newJoiner()
	var pagers []*pager[decode.Sample]
	for _, l := range links {
		pagers = append(pagers, a.samplePager(s, l, id, name, w, shift, join))
	}
	before := func(x, y *decode.Sample) bool {
		return x.Passed < y.Passed || x.Passed == y.Passed && x.Link < y.Link
	}
	return merge(ctx, pagers, before, func(m *decode.Sample) error {
		if err := fn(m); err != nil {
			return &callerError{err}
		}
		return nil
	})
}

var selectSamples = `SELECT n, boot, seq, clock_us, at_ns, mono_ns, passed_ns, link_rssi_dbm, ` + columnList("") + `, other
	FROM samples WHERE rocket = ? AND link = ? AND n > ? AND at_ns BETWEEN ? AND ? ORDER BY n LIMIT ?`

func (a *Archive) samplePager(s Session, l storedLink, rocket int64, name string, w window, shift time.Duration, join *joiner) *pager[decode.Sample] {
	read := func(ctx context.Context, after int64, limit int) ([]decode.Sample, error) {
		out := make([]decode.Sample, 0, limit)
		err := each(ctx, a.r, selectSamples, []any{rocket, l.id, after, w.from, w.to, limit}, func(rows *sql.Rows) error {
			m := decode.Sample{Session: s.ID, Link: l.name, Rocket: name}
			err := scanSample(rows, &m, s.Epoch.Add(shift), join)
			out = append(out, m)
			return err
		})
		return out, err
	}
	p := &pager[decode.Sample]{read: read, number: func(m decode.Sample) int64 { return int64(m.N) }}
	if a.readOnly {
		p.hole = func(from, to int64) {
			a.lost.add(Loss{Table: "samples", Session: s.ID, Link: l.name, Rocket: name, From: uint64(from), To: uint64(to)})
		}
	}
	return p
}

func scanSample(rows *sql.Rows, m *decode.Sample, epoch time.Time, join *joiner) error {
	var n, at, mono int64
	var seq, clock sql.NullInt64
	var cols [nColumns]*float64
	var other *string
	dest := make([]any, 0, 9+nColumns)
	dest = append(dest, &n, &m.Boot, &seq, &clock, &at, &mono, &m.Passed, &m.RSSI)
	for i := range cols {
		dest = append(dest, &cols[i])
	}
	if err := rows.Scan(append(dest, &other)...); err != nil {
		return fmt.Errorf("%w: %w", errShortRead, err)
	}
	m.N, m.Seq, m.Clock = uint64(n), -1, -1
	if seq.Valid {
		m.Seq = seq.Int64
	}
	if clock.Valid {
		m.Clock = clock.Int64
	}
	m.At = epoch.Add(time.Duration(at))
	m.Heard = epoch.Add(time.Duration(mono))
	var err error
	if m.Values, err = join.join(&cols, other); err != nil {
		return fmt.Errorf("%w: %w", errShortRead, err)
	}
	return nil
}
