package sqlite

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"padlark/flight"
	"padlark/storage/sqlite/block"
)

// sessionNames is what the inserter knows of a session: row numbers of names.
type sessionNames struct {
	id      int64
	epoch   time.Time
	links   map[string]int64
	rockets map[string]int64
}

// inserter holds the one writing connection, its prepared statements and the
// frames and samples that the transaction under way will store at its end.
type inserter struct {
	conn    *sql.Conn
	stmts   map[string]*sql.Stmt
	names   map[string]*sessionNames
	codec   *block.Codec
	frames  *frameTable
	samples *sampleTable
	// Where the last frame and the last sample of this transaction went: the next
	// one mostly goes there too.
	toFrames, toSamples target
	aside               asideCount // by this transaction
}

// target is where rows of a session, link and rocket wait.
type target struct {
	session, link, rocket string
	names                 *sessionNames
	frames                *block.Frames
	samples               *block.Samples
}

func (t *target) is(session, link, rocket string) bool {
	return t.names != nil && t.session == session && t.link == link && t.rocket == rocket
}

func newInserter(ctx context.Context, db *sql.DB, codec *block.Codec) (*inserter, error) {
	conn, err := db.Conn(ctx)
	if err != nil {
		return nil, err
	}
	return &inserter{
		conn: conn, stmts: map[string]*sql.Stmt{}, names: map[string]*sessionNames{},
		codec: codec, frames: newFrameTable(), samples: newSampleTable(),
	}, nil
}

func (in *inserter) close() error {
	var errs []error
	for _, s := range in.stmts {
		errs = append(errs, s.Close())
	}
	return errors.Join(append(errs, in.conn.Close())...)
}

// exec runs a statement; it is prepared at its first use and kept.
func (in *inserter) exec(ctx context.Context, query string, args ...any) (sql.Result, error) {
	s, err := in.prepare(ctx, query)
	if err != nil {
		return nil, err
	}
	return s.ExecContext(ctx, args...)
}

func (in *inserter) prepare(ctx context.Context, query string) (*sql.Stmt, error) {
	if s, ok := in.stmts[query]; ok {
		return s, nil
	}
	s, err := in.conn.PrepareContext(ctx, query)
	if err != nil {
		return nil, err
	}
	in.stmts[query] = s
	return s, nil
}

func (in *inserter) row(ctx context.Context, query string, args []any, dest ...any) error {
	s, err := in.prepare(ctx, query)
	if err != nil {
		return err
	}
	return s.QueryRowContext(ctx, args...).Scan(dest...)
}

// write runs fn in one transaction. On any error nothing of it remains, neither
// in the file nor in what we remember of it.
func (a *Archive) write(ctx context.Context, doing string, fn func(*inserter) error) error {
	if a.readOnly {
		return fmt.Errorf("%s: %w", doing, errReadOnly)
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	if err := a.comeHome(ctx); err != nil {
		return explain(a.path, doing, err)
	}
	return a.writeHere(ctx, doing, fn)
}

// writeHere is write without a look whether there is room again. The caller holds
// a.mu.
func (a *Archive) writeHere(ctx context.Context, doing string, fn func(*inserter) error) error {
	in, err := a.inserter(ctx)
	if err != nil {
		return explain(a.path, doing, err)
	}
	if err = in.transaction(ctx, fn); err != nil {
		in.forget()
	} else if in.aside.n > 0 {
		a.aside = asideCount{a.aside.n + in.aside.n, in.aside.why}
	}
	return explain(a.path, doing, err)
}

// inserter is the one that writes. The caller holds a.mu, or is Open.
func (a *Archive) inserter(ctx context.Context) (*inserter, error) {
	if a.ins == nil {
		in, err := newInserter(ctx, a.w, a.codec)
		if err != nil {
			return nil, err
		}
		a.ins = in
	}
	return a.ins, nil
}

// forget drops all that is remembered of the file, after an error.
func (in *inserter) forget() {
	in.names = map[string]*sessionNames{}
	in.frames.forget()
	in.samples.forget()
}

// flush stores the frames and samples that are waiting.
func (in *inserter) flush(ctx context.Context) error {
	if err := in.frames.flush(ctx, in); err != nil {
		return err
	}
	return in.samples.flush(ctx, in)
}

func (in *inserter) transaction(ctx context.Context, fn func(*inserter) error) error {
	// IMMEDIATE takes the write lock at once, so that a busy file shows here and
	// not in the middle.
	if _, err := in.exec(ctx, "BEGIN IMMEDIATE"); err != nil {
		return err
	}
	in.toFrames, in.toSamples, in.aside = target{}, target{}, asideCount{}
	err := fn(in)
	if err == nil {
		err = in.flush(ctx)
	}
	if err == nil {
		if _, err = in.exec(ctx, "COMMIT"); err == nil {
			return nil
		}
	}
	// A full disk may have rolled back already; then this fails and is not news.
	// It must run although ctx may have ended.
	_, _ = in.exec(context.WithoutCancel(ctx), "ROLLBACK")
	return err
}

// session finds a session's row or makes one.
func (in *inserter) session(ctx context.Context, name, station string, epoch time.Time) (*sessionNames, error) {
	if n, ok := in.names[name]; ok {
		return n, nil
	}
	const find = `SELECT id, epoch_ns FROM sessions WHERE name = ?`
	var id, ns int64
	err := in.row(ctx, find, []any{name}, &id, &ns)
	if errors.Is(err, sql.ErrNoRows) {
		_, err = in.exec(ctx, `INSERT INTO sessions (name, station, epoch_ns, started_ns) VALUES (?, ?, ?, 0)`, name, station, epoch.UnixNano())
		if err != nil {
			return nil, err
		}
		err = in.row(ctx, find, []any{name}, &id, &ns)
	}
	if err != nil {
		return nil, err
	}
	n := &sessionNames{id: id, epoch: unix(ns), links: map[string]int64{}, rockets: map[string]int64{}}
	in.names[name] = n
	return n, nil
}

// link finds a link's row or makes one.
func (in *inserter) link(ctx context.Context, n *sessionNames, name string) (int64, error) {
	if id, ok := n.links[name]; ok {
		return id, nil
	}
	const find = `SELECT id FROM links WHERE session = ? AND name = ?`
	var id int64
	err := in.row(ctx, find, []any{n.id, name}, &id)
	if errors.Is(err, sql.ErrNoRows) {
		if _, err = in.exec(ctx, `INSERT INTO links (session, name) VALUES (?, ?)`, n.id, name); err != nil {
			return 0, err
		}
		err = in.row(ctx, find, []any{n.id, name}, &id)
	}
	if err != nil {
		return 0, err
	}
	n.links[name] = id
	return id, nil
}

// rocket finds a rocket's row or makes one.
func (in *inserter) rocket(ctx context.Context, n *sessionNames, name string) (int64, error) {
	if id, ok := n.rockets[name]; ok {
		return id, nil
	}
	const find = `SELECT id FROM rockets WHERE session = ? AND name = ?`
	var id int64
	err := in.row(ctx, find, []any{n.id, name}, &id)
	if errors.Is(err, sql.ErrNoRows) {
		if err = in.describeRocket(ctx, n, flight.Rocket{Name: name}); err != nil {
			return 0, err
		}
		err = in.row(ctx, find, []any{n.id, name}, &id)
	}
	if err != nil {
		return 0, err
	}
	n.rockets[name] = id
	return id, nil
}

// describeRocket stores or replaces a rocket's description.
func (in *inserter) describeRocket(ctx context.Context, n *sessionNames, r flight.Rocket) error {
	text, err := json.Marshal(r)
	if err != nil {
		return fmt.Errorf("write rocket %s: %w", r.Name, err)
	}
	_, err = in.exec(ctx, `INSERT INTO rockets (session, name, config) VALUES (?, ?, ?)
		ON CONFLICT (session, name) DO UPDATE SET config = excluded.config`, n.id, r.Name, string(text))
	return err
}
