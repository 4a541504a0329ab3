package sqlite

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"padlark/flight"
)

// sessionNames is what the inserter knows of a session: row numbers of names.
type sessionNames struct {
	id      int64
	epoch   time.Time
	links   map[string]linkRow
	rockets map[string]int64
}

type linkRow struct {
	id      int64
	baud    int
	settled bool // a frame with a line rate has been seen
}

// inserter holds the one writing connection and its prepared statements.
type inserter struct {
	conn  *sql.Conn
	stmts map[string]*sql.Stmt
	names map[string]*sessionNames
}

func newInserter(ctx context.Context, db *sql.DB) (*inserter, error) {
	conn, err := db.Conn(ctx)
	if err != nil {
		return nil, err
	}
	return &inserter{conn: conn, stmts: map[string]*sql.Stmt{}, names: map[string]*sessionNames{}}, nil
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
		return fmt.Errorf("%s: %w", doing, ErrReadOnly)
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.ins == nil {
		in, err := newInserter(ctx, a.w)
		if err != nil {
			return explain(a.path, doing, err)
		}
		a.ins = in
	}
	err := a.ins.transaction(ctx, fn)
	if err != nil {
		a.ins.names = map[string]*sessionNames{}
	}
	return explain(a.path, doing, err)
}

func (in *inserter) transaction(ctx context.Context, fn func(*inserter) error) error {
	// IMMEDIATE takes the write lock at once, so that a busy file shows here and
	// not in the middle.
	if _, err := in.exec(ctx, "BEGIN IMMEDIATE"); err != nil {
		return err
	}
	err := fn(in)
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
	n := &sessionNames{id: id, epoch: unix(ns), links: map[string]linkRow{}, rockets: map[string]int64{}}
	in.names[name] = n
	return n, nil
}

// link finds a link's row or makes one. baud is the line rate of a frame that
// came over it, 0 if not known; the link takes that of its first frame, so that
// the frames need not repeat it.
func (in *inserter) link(ctx context.Context, n *sessionNames, name string, baud int) (linkRow, error) {
	l, ok := n.links[name]
	if ok && (l.settled || baud == 0) {
		return l, nil
	}
	const find = `SELECT id, baud FROM links WHERE session = ? AND name = ?`
	err := in.row(ctx, find, []any{n.id, name}, &l.id, &l.baud)
	if errors.Is(err, sql.ErrNoRows) {
		if _, err = in.exec(ctx, `INSERT INTO links (session, name) VALUES (?, ?)`, n.id, name); err != nil {
			return l, err
		}
		err = in.row(ctx, find, []any{n.id, name}, &l.id, &l.baud)
	}
	if err != nil {
		return l, err
	}
	if baud != 0 && l.baud == 0 {
		const first = `UPDATE links SET baud = ?1 WHERE id = ?2 AND NOT EXISTS (SELECT 1 FROM frames WHERE link = ?2)`
		if _, err := in.exec(ctx, first, baud, l.id); err != nil {
			return l, err
		}
		if err := in.row(ctx, find, []any{n.id, name}, &l.id, &l.baud); err != nil {
			return l, err
		}
	}
	l.settled = baud != 0
	n.links[name] = l
	return l, nil
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
