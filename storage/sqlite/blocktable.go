package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"math"
	"slices"
	"sort"

	"padlark/storage/sqlite/block"
)

// track is what has blocks of its own: a link for frames (rocket is 0 then), a
// rocket and a link for samples.
type track struct{ rocket, link int64 }

// meta is what a table says of a block beside its data. first and last are
// numbers of frames; blocks of one track do not overlap.
type meta struct {
	track
	id          int64
	first, last int64
	count       int
	passed      int64 // of the newest row, in ns since the epoch; for readers
}

// rows is a set of rows in columns: *block.Frames or *block.Samples.
type rows[T any] interface {
	*T
	Rows() int
	Numbers() []int64
	Slice(i, k int) *T
	Pick([]int) *T
	Add(*T)
	Clear()
}

// blockTable is one of the two tables of blocks, as the writer sees it.
type blockTable[T any, P rows[T]] struct {
	table string
	// track is the condition for a track, with its rocket and link as ?1 and ?2.
	track string
	// small is from how many rows on a block is let be; smaller ones are merged
	// when mergeBlocks of them, or mergeRows rows in them, have gathered.
	small, mergeRows int

	encode func(*block.Codec, P) ([]byte, error)
	decode func(*block.Codec, []byte, P) error
	// cut says where a block that begins at row i ends at most.
	cut    func(p P, i int) int
	insert func(in *inserter, ctx context.Context, t track, p P, data []byte) (sql.Result, error)
	// wide says whether rows have too many columns for one block.
	wide func(P) bool

	pending map[track]P // rows of the transaction under way
	order   []track     // of pending, as they came
	tails   map[track]*tail
}

// Bounds of blocks. Large ones are read fast and pack well; a reader holds one
// of each track in memory.
const (
	blockRows   = 4096
	blockBytes  = 1 << 20 // of frames, before packing
	mergeBlocks = 32
	// batchesKept is for how many tracks the memory of a batch is kept.
	batchesKept = 64
)

// tail is what the writer remembers of a track's end.
type tail struct {
	last  int64  // highest number stored
	small []meta // the last blocks, if they are small
	rows  int    // in them
}

const noNumber = math.MinInt64

// batch is where rows of a track wait for the end of the transaction.
func (s *blockTable[T, P]) batch(t track) P {
	if p, ok := s.pending[t]; ok {
		return p
	}
	p := P(new(T))
	s.pending[t] = p
	s.order = append(s.order, t)
	return p
}

// forget drops what was waiting and what is remembered, after an error.
func (s *blockTable[T, P]) forget() {
	s.pending, s.order, s.tails = map[track]P{}, nil, map[track]*tail{}
}

// flush stores what is waiting.
func (s *blockTable[T, P]) flush(ctx context.Context, in *inserter) error {
	for _, t := range s.order {
		p := s.pending[t]
		if p.Rows() == 0 {
			continue
		}
		if err := s.put(ctx, in, t, p); err != nil {
			return err
		}
		p.Clear()
	}
	if len(s.order) > batchesKept {
		s.pending, s.order = map[track]P{}, nil
	}
	return nil
}

// put stores rows of a track; those that are there already change nothing.
func (s *blockTable[T, P]) put(ctx context.Context, in *inserter, t track, p P) error {
	p = inOrder[T](p)
	end, err := s.tail(ctx, in, t)
	if err != nil {
		return err
	}
	// Almost always all rows are new and follow what is there.
	n := p.Numbers()
	fresh := sort.Search(len(n), func(i int) bool { return n[i] > end.last || end.last == noNumber })
	if fresh > 0 {
		changed, err := s.mix(ctx, in, t, P(p.Slice(0, fresh)))
		if err != nil {
			return err
		}
		if changed {
			delete(s.tails, t)
			if end, err = s.tail(ctx, in, t); err != nil {
				return err
			}
		}
		p = P(p.Slice(fresh, p.Rows()))
	}
	added, err := s.add(ctx, in, t, p)
	if err != nil {
		return err
	}
	for _, m := range added {
		if err := s.follow(ctx, in, t, end, m); err != nil {
			return err
		}
	}
	return nil
}

// follow notes a block at a track's end and merges small ones when enough have
// gathered.
func (s *blockTable[T, P]) follow(ctx context.Context, in *inserter, t track, end *tail, m meta) error {
	if m.count >= s.small {
		if err := s.merge(ctx, in, t, end); err != nil {
			return err
		}
		*end = tail{last: m.last}
		return nil
	}
	end.last = m.last
	end.small = append(end.small, m)
	end.rows += m.count
	if len(end.small) >= mergeBlocks || end.rows >= s.mergeRows {
		return s.merge(ctx, in, t, end)
	}
	return nil
}

// tail is the end of a track; it is looked up once.
func (s *blockTable[T, P]) tail(ctx context.Context, in *inserter, t track) (*tail, error) {
	if e, ok := s.tails[t]; ok {
		return e, nil
	}
	e := &tail{last: noNumber}
	found, err := s.metas(ctx, in, `ORDER BY n_first DESC LIMIT ?3`, t, 2*mergeBlocks)
	if err != nil {
		return nil, err
	}
	if len(found) > 0 {
		e.last = found[0].last
	}
	for _, m := range found {
		if m.count >= s.small {
			break
		}
		e.small = append(e.small, m)
		e.rows += m.count
	}
	slices.Reverse(e.small)
	s.tails[t] = e
	return e, nil
}

// metas lists blocks of a track.
func (s *blockTable[T, P]) metas(ctx context.Context, in *inserter, rest string, t track, args ...any) ([]meta, error) {
	stmt, err := in.prepare(ctx, `SELECT id, n_first, n_last, count FROM `+s.table+` WHERE `+s.track+` `+rest)
	if err != nil {
		return nil, err
	}
	found, err := stmt.QueryContext(ctx, append([]any{t.rocket, t.link}, args...)...)
	if err != nil {
		return nil, err
	}
	defer found.Close()
	var out []meta
	for found.Next() {
		m := meta{track: t}
		if err := found.Scan(&m.id, &m.first, &m.last, &m.count); err != nil {
			return nil, err
		}
		out = append(out, m)
	}
	return out, found.Err()
}

// add stores rows as new blocks.
func (s *blockTable[T, P]) add(ctx context.Context, in *inserter, t track, p P) ([]meta, error) {
	var out []meta
	for i := 0; i < p.Rows(); {
		k := s.cut(p, i)
		part := p
		if i > 0 || k < p.Rows() {
			part = P(p.Slice(i, k))
		}
		for part.Rows() > 1 && s.wide(part) {
			k = i + part.Rows()/2
			part = P(p.Slice(i, k))
		}
		data, err := s.encode(in.codec, part)
		if err != nil {
			return nil, err
		}
		res, err := s.insert(in, ctx, t, part, data)
		if err != nil {
			return nil, err
		}
		m := meta{track: t, first: part.Numbers()[0], last: part.Numbers()[part.Rows()-1], count: part.Rows()}
		if m.id, err = res.LastInsertId(); err != nil {
			return nil, err
		}
		out = append(out, m)
		i = k
	}
	return out, nil
}

// load reads a block back.
func (s *blockTable[T, P]) load(ctx context.Context, in *inserter, m meta) (P, error) {
	var data []byte
	if err := in.row(ctx, `SELECT data FROM `+s.table+` WHERE id = ?`, []any{m.id}, &data); err != nil {
		return nil, err
	}
	p := P(new(T))
	if err := s.decode(in.codec, data, p); err != nil {
		return nil, err
	}
	return p, nil
}

func (s *blockTable[T, P]) remove(ctx context.Context, in *inserter, m meta) error {
	_, err := in.exec(ctx, `DELETE FROM `+s.table+` WHERE id = ?`, m.id)
	return err
}

// merge makes one block of the small ones at a track's end. They are few and
// small, so it costs a millisecond or two.
func (s *blockTable[T, P]) merge(ctx context.Context, in *inserter, t track, end *tail) error {
	if len(end.small) < 2 {
		return nil
	}
	all := P(new(T))
	for _, m := range end.small {
		p, err := s.load(ctx, in, m)
		if errors.Is(err, block.ErrDamaged) {
			// Let the damaged one be: a reader names it and reads the others.
			end.small, end.rows = nil, 0
			return nil
		}
		if err != nil {
			return err
		}
		if all.Add(p); s.wide(all) {
			end.small, end.rows = nil, 0
			return nil
		}
	}
	for _, m := range end.small {
		if err := s.remove(ctx, in, m); err != nil {
			return err
		}
	}
	added, err := s.add(ctx, in, t, all)
	if err != nil {
		return err
	}
	end.small, end.rows = nil, 0
	if m := added[len(added)-1]; m.count < s.small {
		end.small, end.rows = []meta{m}, m.count
	}
	return nil
}

// tidy merges what is small at the end of a track, at the end of a session.
func (s *blockTable[T, P]) tidy(ctx context.Context, in *inserter, t track) error {
	end, err := s.tail(ctx, in, t)
	if err != nil {
		return err
	}
	return s.merge(ctx, in, t, end)
}

// mix stores rows that lie among blocks that are there: what is there already is
// left out, and a block into which new rows fall is written anew.
func (s *blockTable[T, P]) mix(ctx context.Context, in *inserter, t track, p P) (changed bool, err error) {
	n := p.Numbers()
	low, high := n[0], n[len(n)-1]
	found, err := s.metas(ctx, in, `AND n_first <= ?3 AND n_last >= ?4 ORDER BY n_first`, t, high, low)
	if err != nil {
		return false, err
	}
	gap := func(i, k int) error {
		if i == k {
			return nil
		}
		changed = true
		_, err := s.add(ctx, in, t, P(p.Slice(i, k)))
		return err
	}
	i := 0
	for _, m := range found {
		k, _ := slices.BinarySearch(n, m.first)
		e, there := slices.BinarySearch(n, m.last)
		if there {
			e++
		}
		if err := gap(i, k); err != nil {
			return false, err
		}
		if k < e {
			more, err := s.mixInto(ctx, in, m, P(p.Slice(k, e)))
			if err != nil {
				return false, err
			}
			changed = changed || more
		}
		i = e
	}
	return changed, gap(i, len(n))
}

// mixInto adds to a block the rows that it does not have.
func (s *blockTable[T, P]) mixInto(ctx context.Context, in *inserter, m meta, p P) (changed bool, err error) {
	old, err := s.load(ctx, in, m)
	if err != nil {
		return false, err
	}
	var missing []int
	for i, n := range p.Numbers() {
		if _, there := slices.BinarySearch(old.Numbers(), n); !there {
			missing = append(missing, i)
		}
	}
	if len(missing) == 0 {
		return false, nil
	}
	old.Add(p.Pick(missing))
	if err := s.remove(ctx, in, m); err != nil {
		return false, err
	}
	_, err = s.add(ctx, in, m.track, inOrder[T](old))
	return true, err
}

// inOrder gives the rows in rising order of their numbers; of rows with the same
// number the first counts.
func inOrder[T any, P rows[T]](p P) P {
	n := p.Numbers()
	rising := true
	for i := 1; i < len(n) && rising; i++ {
		rising = n[i] > n[i-1]
	}
	if rising {
		return p
	}
	index := make([]int, len(n))
	for i := range index {
		index[i] = i
	}
	slices.SortStableFunc(index, func(a, b int) int {
		switch {
		case n[a] < n[b]:
			return -1
		case n[a] > n[b]:
			return 1
		}
		return 0
	})
	index = slices.CompactFunc(index, func(a, b int) bool { return n[a] == n[b] })
	return P(p.Pick(index))
}
