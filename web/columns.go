package web

import (
	"container/list"
	"context"
	"fmt"
	"maps"
	"math"
	"slices"
	"sync"
	"time"

	"padlark/decode"
)

// Bounds of the column cache.
const (
	cacheBytes = 96 << 20 // times and one channel of 10 h at 50 Hz take 29 MB
	maxExpect  = 4 << 20  // samples that memory is set aside for at once
)

// columnKey names the samples of one rocket in one stretch of a session.
type columnKey struct {
	session, rocket string
	from, to        int64 // Unix ns, 0 = unbounded
}

// columns are the samples of one rocket turned on their side: times once, one
// slice for each channel, NaN where a sample has no value.
type columns struct {
	epoch  time.Time // t = 0
	t      []float64 // s, rising
	names  []string
	values map[string][]float64
	passed int64 // of the newest sample read: more may follow after it
}

func (c *columns) bytes() int { return 8 * len(c.t) * (1 + len(c.values)) }

// channel is one of the columns with its missing values left out.
func (c *columns) channel(name string) (series, bool) {
	v, ok := c.values[name]
	if !ok {
		return series{}, false
	}
	if !slices.ContainsFunc(v, math.IsNaN) {
		return series{c.t, v}, true
	}
	var out series
	for i := range v {
		if !math.IsNaN(v[i]) {
			out.t, out.v = append(out.t, c.t[i]), append(out.v, v[i])
		}
	}
	return out, true
}

// columnCache keeps the columns that were asked for last: whoever looks at a
// plot zooms. The oldest gives way; what may still grow is grown.
type columnCache struct {
	mu    sync.Mutex
	size  int
	order *list.List // of *columnEntry, newest first
	byKey map[columnKey]*list.Element
	busy  map[columnKey]chan struct{} // closed when the one who reads is done
}

// begin waits until nobody else reads the same columns: two pages need not both
// read. The caller calls end when it is done.
func (c *columnCache) begin(ctx context.Context, k columnKey) (end func(), err error) {
	for {
		c.mu.Lock()
		other := c.busy[k]
		if other == nil {
			mine := make(chan struct{})
			c.busy[k] = mine
			c.mu.Unlock()
			return func() {
				c.mu.Lock()
				defer c.mu.Unlock()
				delete(c.busy, k)
				close(mine)
			}, nil
		}
		c.mu.Unlock()
		select {
		case <-other:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
}

type columnEntry struct {
	key  columnKey
	cols *columns
}

func newColumnCache() *columnCache {
	return &columnCache{order: list.New(), byKey: map[columnKey]*list.Element{}, busy: map[columnKey]chan struct{}{}}
}

func (c *columnCache) get(k columnKey) *columns {
	c.mu.Lock()
	defer c.mu.Unlock()
	el := c.byKey[k]
	if el == nil {
		return nil
	}
	c.order.MoveToFront(el)
	return el.Value.(*columnEntry).cols
}

// room says whether something can be kept without another giving way.
func (c *columnCache) room() bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.size < cacheBytes/2
}

func (c *columnCache) put(k columnKey, cols *columns) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if el := c.byKey[k]; el != nil {
		c.drop(el)
	}
	c.byKey[k] = c.order.PushFront(&columnEntry{k, cols})
	c.size += cols.bytes()
	for c.size > cacheBytes && c.order.Len() > 1 {
		c.drop(c.order.Back())
	}
}

func (c *columnCache) drop(el *list.Element) {
	e := el.Value.(*columnEntry)
	c.order.Remove(el)
	delete(c.byKey, e.key)
	c.size -= e.cols.bytes()
}

// columnsOf reads one rocket's samples of a stretch of a session, times in s
// since zero. What is over is read once; to what is not, only the samples that
// came since are added. expect says about how many samples there are; it saves
// time, not more.
func (s *Server) columnsOf(ctx context.Context, q Query, zero time.Time, over bool, expect uint64) (*columns, error) {
	key := columnKey{q.Session, q.Rocket, nanos(q.From), nanos(q.To)}
	known := func() *columns {
		if c := s.columns.get(key); c != nil && c.epoch.Equal(zero) {
			return c
		}
		return nil
	}
	if c := known(); c != nil && over {
		return c, nil
	}
	end, err := s.columns.begin(ctx, key)
	if err != nil {
		return nil, fmt.Errorf("wait for the samples of %s: %w", q.Rocket, err)
	}
	defer end()
	old := known()
	if old != nil && over {
		return old, nil // another page has read it meanwhile
	}
	c := &columns{epoch: zero, values: map[string][]float64{}, t: make([]float64, 0, min(expect, maxExpect))}
	if old != nil {
		// Growing a slice leaves alone what others read of it.
		c = &columns{epoch: zero, t: old.t, names: slices.Clone(old.names), values: maps.Clone(old.values), passed: old.passed}
		q.FromPassed = old.passed + 1
	}
	if err := c.read(ctx, s.opt.Archive, q); err != nil {
		return nil, err
	}
	s.columns.put(key, c)
	return c, nil
}

// warm reads the newest sessions' columns before anybody asks, as long as there
// is room: a long session takes the archive seconds.
func (s *Server) warm(ctx context.Context) error {
	sessions, err := s.sessionList(ctx)
	if err != nil {
		return err
	}
	for _, one := range sessions {
		for _, rocket := range one.Rockets {
			if !s.columns.room() || ctx.Err() != nil {
				return nil
			}
			q := Query{Session: one.ID, Rocket: rocket}
			if _, err := s.columnsOf(ctx, q, one.Epoch, !one.Live, one.Frames/uint64(len(one.Rockets))); err != nil {
				return err
			}
		}
	}
	return nil
}

// read adds the samples of a query. A frame heard on two links is two samples
// of one measurement: the later one is left out.
func (c *columns) read(ctx context.Context, a Archive, q Query) error {
	cols := make([][]float64, len(c.names)) // as c.names: a lookup per sample and channel would cost most of the time
	for i, name := range c.names {
		cols[i] = c.values[name]
	}
	sorted, before := true, len(c.t)
	err := a.Samples(ctx, q, func(s *decode.Sample) error {
		t := s.At.Sub(c.epoch).Seconds()
		if n := len(c.t); n > 0 && t < c.t[n-1] {
			sorted = false
		}
		c.t, c.passed = append(c.t, t), max(c.passed, s.Passed)
		for i, name := range s.Values.Names {
			k := i
			if k >= len(c.names) || c.names[k] != name {
				if k = slices.Index(c.names, name); k < 0 {
					k = len(c.names)
					c.names = append(c.names, name)
					cols = append(cols, make([]float64, 0, cap(c.t)))
				}
			}
			cols[k] = append(padTo(cols[k], len(c.t)-1), s.Values.Values[i])
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("read samples of %s: %w", q.Rocket, err)
	}
	for i, name := range c.names {
		c.values[name] = padTo(cols[i], len(c.t))
	}
	if len(c.t) == before {
		return nil
	}
	if !sorted {
		c.sort()
	}
	c.dropTwins()
	return nil
}

// padTo fills a column with NaN up to n values.
func padTo(v []float64, n int) []float64 {
	for len(v) < n {
		v = append(v, math.NaN())
	}
	return v
}

// sort brings the columns into the order of time: samples come in the order in
// which they were heard, and two links may be late by different amounts.
func (c *columns) sort() {
	index := make([]int, len(c.t))
	for i := range index {
		index[i] = i
	}
	slices.SortStableFunc(index, func(a, b int) int {
		switch {
		case c.t[a] < c.t[b]:
			return -1
		case c.t[a] > c.t[b]:
			return 1
		}
		return 0
	})
	permute := func(v []float64) []float64 {
		out := make([]float64, len(v))
		for i, k := range index {
			out[i] = v[k]
		}
		return out
	}
	c.t = permute(c.t)
	for name, v := range c.values {
		c.values[name] = permute(v)
	}
}

// dropTwins leaves out a sample that follows within 0.5 ms with the same values.
func (c *columns) dropTwins() {
	keep := make([]int, 0, len(c.t))
	for i := range c.t {
		if i > 0 && c.t[i]-c.t[i-1] < 0.5e-3 && c.same(i, i-1) {
			continue
		}
		keep = append(keep, i)
	}
	if len(keep) == len(c.t) {
		return
	}
	pick := func(v []float64) []float64 {
		out := make([]float64, len(keep))
		for i, k := range keep {
			out[i] = v[k]
		}
		return out
	}
	c.t = pick(c.t)
	for name, v := range c.values {
		c.values[name] = pick(v)
	}
}

func (c *columns) same(i, k int) bool {
	for _, v := range c.values {
		if v[i] != v[k] && !(math.IsNaN(v[i]) && math.IsNaN(v[k])) {
			return false
		}
	}
	return true
}

func nanos(t time.Time) int64 {
	if t.IsZero() {
		return 0
	}
	return t.UnixNano()
}

// middle is the median; NaN of nothing.
func middle(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	s := slices.Clone(v)
	slices.Sort(s)
	return s[len(s)/2]
}
