package sqlite

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"time"

	"padlark/ingest"
)

// FrameFilter chooses frames; the zero value means all.
type FrameFilter struct {
	Links  []string // names
	Rocket string   // only frames that gave a sample of this rocket
	// From and To bound Passed in ns since the epoch; To 0 means no bound.
	From, To int64
}

// storedFrame is a frame with its place in the stream, which settles the order
// of frames that passed in the same moment.
type storedFrame struct {
	ingest.Frame
	ord uint64
}

// Frames calls fn for every frame of a session in the order in which they
// passed, exactly as they were recorded: the session's time shift is not added,
// so that a replay sees what was seen. An error of fn ends it and is returned.
func (a *Archive) Frames(ctx context.Context, session string, filter FrameFilter, fn func(ingest.Frame) error) error {
	s, err := a.Session(ctx, session)
	if err != nil {
		return err
	}
	doing := "read frames of session " + session
	links, err := a.linksOf(ctx, session)
	if err != nil {
		return explain(a.path, doing, err)
	}
	var rocket int64
	if filter.Rocket != "" {
		if rocket, err = a.rocketRow(ctx, session, filter.Rocket); err != nil {
			return explain(a.path, doing, err)
		}
	}
	var pagers []*pager[storedFrame]
	for _, l := range links {
		if len(filter.Links) == 0 || slices.Contains(filter.Links, l.name) {
			pagers = append(pagers, a.framePager(s, l, rocket))
		}
	}
	before := func(x, y *storedFrame) bool {
		return x.Passed < y.Passed || x.Passed == y.Passed && x.ord < y.ord
	}
	var fnErr error
	err = merge(ctx, pagers, before, func(f *storedFrame) error {
		if f.Passed < filter.From {
			return nil
		}
		if filter.To > 0 && f.Passed > filter.To {
			return errDone
		}
		fnErr = fn(f.Frame)
		return fnErr
	})
	if fnErr != nil {
		return fnErr
	}
	return explain(a.path, doing, err)
}

type storedLink struct {
	id   int64
	name string
	baud int
}

func (a *Archive) linksOf(ctx context.Context, session string) ([]storedLink, error) {
	var out []storedLink
	err := each(ctx, a.r, `SELECT l.id, l.name, l.baud FROM links l JOIN sessions s ON s.id = l.session WHERE s.name = ? ORDER BY l.id`,
		[]any{session}, func(rows *sql.Rows) error {
			var l storedLink
			err := rows.Scan(&l.id, &l.name, &l.baud)
			out = append(out, l)
			return err
		})
	return out, err
}

// rocketRow is a rocket's row number; -1, which no row has, if the session does
// not know it.
func (a *Archive) rocketRow(ctx context.Context, session, name string) (int64, error) {
	id := int64(-1)
	err := each(ctx, a.r, `SELECT r.id FROM rockets r JOIN sessions s ON s.id = r.session WHERE s.name = ? AND r.name = ?`,
		[]any{session, name}, func(rows *sql.Rows) error { return rows.Scan(&id) })
	return id, err
}

func (a *Archive) framePager(s Session, l storedLink, rocket int64) *pager[storedFrame] {
	query := `SELECT n, mono_ns, passed_ns, ord, heard_off_ns, wire, baud, rssi_dbm, bytes FROM frames f
		WHERE link = ? AND n > ? ORDER BY n LIMIT ?`
	args := []any{l.id, nil, nil}
	if rocket != 0 {
		query = `SELECT n, mono_ns, passed_ns, ord, heard_off_ns, wire, baud, rssi_dbm, bytes FROM frames f
			WHERE link = ? AND n > ? AND EXISTS (SELECT 1 FROM samples WHERE rocket = ? AND link = f.link AND n = f.n)
			ORDER BY n LIMIT ?`
		args = []any{l.id, nil, rocket, nil}
	}
	read := func(ctx context.Context, after int64, limit int) ([]storedFrame, error) {
		args := slices.Clone(args)
		args[1], args[len(args)-1] = after, limit
		out := make([]storedFrame, 0, limit)
		err := each(ctx, a.r, query, args, func(rows *sql.Rows) error {
			f, err := scanFrame(rows, s, l)
			out = append(out, f)
			return err
		})
		return out, err
	}
	p := &pager[storedFrame]{read: read, number: func(f storedFrame) int64 { return int64(f.N) }}
	if a.readOnly {
		p.hole = func(from, to int64) {
			a.lost.add(Loss{Table: "frames", Session: s.ID, Link: l.name, From: uint64(from), To: uint64(to)})
		}
	}
	return p
}

func scanFrame(rows *sql.Rows, s Session, l storedLink) (storedFrame, error) {
	f := storedFrame{Frame: ingest.Frame{Session: s.ID, Link: l.name}}
	var n, ord int64
	var off, baud sql.NullInt64
	var rssi sql.NullFloat64
	if err := rows.Scan(&n, &f.Mono, &f.Passed, &ord, &off, &f.Wire, &baud, &rssi, &f.Bytes); err != nil {
		return f, fmt.Errorf("%w: %w", errShortRead, err)
	}
	f.N, f.ord = uint64(n), uint64(ord)
	f.Heard = s.Epoch.Add(time.Duration(f.Mono + off.Int64))
	f.Baud = l.baud
	if baud.Valid {
		f.Baud = int(baud.Int64)
	}
	if f.Bytes == nil {
		f.Bytes = []byte{} // the driver's reading of an empty blob
	}
	if rssi.Valid {
		f.RSSI = &rssi.Float64
	}
	return f, nil
}
