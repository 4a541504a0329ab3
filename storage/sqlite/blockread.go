package sqlite

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"

	"padlark/storage/sqlite/block"
)

// blockReader gives the blocks of one track in the order of their numbers. Each
// is read by itself, so that no transaction stays open while the caller works,
// which would hold up the writer's checkpoints. The writer may merge blocks
// meanwhile; then the list of those to come is made anew.
type blockReader struct {
	a     *Archive
	table string // frame_blocks or sample_blocks
	cond  string // frameTrack or sampleTrack
	of    track
	// chosen narrows the blocks down, with chosenArgs from ?3 on; may be empty.
	chosen     string
	chosenArgs []any
	// lose is told of numbers that could not be read: those between from and to,
	// to = 0 if nothing after from can be read. Nil means not to salvage.
	lose func(from, to int64)
	// reuse lets the data of a block stand only until the next one is read.
	reuse  bool
	memory []byte

	listed bool
	list   []meta
	after  int64 // highest number that was given
	missed meta  // a block that was gone
}

// next returns the next block with its data; ok is false at the end.
func (b *blockReader) next(ctx context.Context) (m meta, data []byte, ok bool, err error) {
	if !b.listed {
		b.after = noNumber
		if err := b.fill(ctx); err != nil {
			return m, nil, false, err
		}
	}
	for len(b.list) > 0 {
		m, b.list = b.list[0], b.list[1:]
		if m.last <= b.after {
			continue
		}
		data, err = b.data(ctx, m)
		switch {
		case err == nil:
			return m, data, true, nil
		case errors.Is(err, sql.ErrNoRows) && m != b.missed:
			b.missed = m
			if err := b.fill(ctx); err != nil {
				return m, nil, false, err
			}
		default:
			if errors.Is(err, sql.ErrNoRows) {
				err = fmt.Errorf("%w: a block is listed and not there", errShortRead)
			}
			if err := b.bad(m, err); err != nil {
				return m, nil, false, err
			}
		}
	}
	return m, nil, false, nil
}

// data reads a block. Since SQLite gives a row's number away again, the other
// columns are compared too.
func (b *blockReader) data(ctx context.Context, m meta) ([]byte, error) {
	stmt, err := b.a.prepared(ctx, `SELECT data FROM `+b.table+` WHERE id = ? AND n_first = ? AND n_last = ? AND count = ?`)
	if err != nil {
		return nil, err
	}
	var data []byte
	if !b.reuse {
		err = stmt.QueryRowContext(ctx, m.id, m.first, m.last, m.count).Scan(&data)
		return data, err
	}
	rows, err := stmt.QueryContext(ctx, m.id, m.first, m.last, m.count)
	if err != nil {
		return nil, err
	}
	defer rows.Close() //nolint:errcheck // rows.Err tells
	if !rows.Next() {
		return nil, cmp.Or(rows.Err(), sql.ErrNoRows)
	}
	var raw sql.RawBytes
	if err := rows.Scan(&raw); err != nil {
		return nil, err
	}
	b.memory = append(b.memory[:0], raw...)
	return b.memory, rows.Err()
}

// prepared keeps the few statements of the readers that are run again and again.
func (a *Archive) prepared(ctx context.Context, query string) (*sql.Stmt, error) {
	a.stmtsMu.Lock()
	defer a.stmtsMu.Unlock()
	if s, ok := a.stmts[query]; ok {
		return s, nil
	}
	s, err := a.r.PrepareContext(ctx, query)
	if err != nil {
		return nil, err
	}
	if a.stmts == nil {
		a.stmts = map[string]*sql.Stmt{}
	}
	a.stmts[query] = s
	return s, nil
}

// bad handles a block that cannot be read: a loss with a name in a damaged
// archive that is only read, otherwise an error.
func (b *blockReader) bad(m meta, err error) error {
	if !damaged(err) {
		return err
	}
	if b.lose == nil {
		return fmt.Errorf("%w: frames %d to %d: %w", ErrDamaged, m.first, m.last, err)
	}
	b.lose(m.first-1, m.last+1)
	return nil
}

// given says which rows of a decoded block are new to the caller, from that
// index on, and notes them. It checks that the block is the one it should be.
func (b *blockReader) given(m meta, numbers []int64) (from int, err error) {
	if len(numbers) != m.count || m.count == 0 || numbers[0] != m.first || numbers[len(numbers)-1] != m.last {
		return 0, fmt.Errorf("%w: the block holds other rows", block.ErrDamaged)
	}
	if m.first <= b.after {
		from, _ = slices.BinarySearch(numbers, b.after+1)
	}
	b.after = m.last
	return from, nil
}

// fill lists the blocks that are still to come.
func (b *blockReader) fill(ctx context.Context) error {
	b.listed, b.list = true, b.list[:0]
	query := `SELECT id, n_first, n_last, count, passed_last_ns FROM ` + b.table + ` WHERE ` + b.cond + b.chosen + ` ORDER BY n_first`
	err := each(ctx, b.a.r, query, append([]any{b.of.rocket, b.of.link}, b.chosenArgs...), func(rows *sql.Rows) error {
		m := meta{track: b.of}
		err := rows.Scan(&m.id, &m.first, &m.last, &m.count, &m.passed)
		if err == nil && m.last > b.after {
			b.list = append(b.list, m)
		}
		return err
	})
	if err != nil && b.lose != nil && damaged(err) {
		return b.search(ctx)
	}
	return err
}

// search lists the blocks of a damaged table, without the index: by the rows'
// own numbers, past those that cannot be read.
func (b *blockReader) search(ctx context.Context) error {
	type hole struct{ from, to int64 } // ids, excluding both; to = 0 is the end
	var holes []hole
	columns := "link, 0"
	if b.of.rocket != 0 {
		columns = "link, rocket"
	}
	query := `SELECT id, n_first, n_last, count, passed_last_ns, ` + columns + ` FROM ` + b.table + ` NOT INDEXED WHERE id > ? ORDER BY id LIMIT ?`
	p := &pager[meta]{
		read: func(ctx context.Context, after int64, limit int) ([]meta, error) {
			var out []meta
			err := each(ctx, b.a.r, query, []any{after, limit}, func(rows *sql.Rows) error {
				var m meta
				if err := rows.Scan(&m.id, &m.first, &m.last, &m.count, &m.passed, &m.link, &m.rocket); err != nil {
					return fmt.Errorf("%w: %w", errShortRead, err)
				}
				out = append(out, m)
				return nil
			})
			return out, err
		},
		number: func(m meta) int64 { return m.id },
		hole:   func(from, to int64) { holes = append(holes, hole{from, to}) },
	}
	b.list = b.list[:0]
	for {
		m, err := p.head(ctx)
		if err != nil {
			return err
		}
		if m == nil {
			break
		}
		p.next++
		if m.track == b.of && m.last > b.after {
			b.list = append(b.list, *m)
		}
	}
	// Rows are numbered as they came, so the blocks around a hole tell which
	// numbers may have been in it.
	for _, h := range holes {
		from, to := int64(0), int64(0)
		for _, m := range b.list {
			if m.id <= h.from {
				from = max(from, m.last)
			}
			if h.to != 0 && m.id >= h.to && (to == 0 || m.first < to) {
				to = m.first
			}
		}
		if to == 0 || from+1 < to {
			b.lose(from, to)
		}
	}
	slices.SortFunc(b.list, func(x, y meta) int {
		if x.first < y.first {
			return -1
		}
		return 1
	})
	return nil
}
