package web

import (
	"container/list"
	"context"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"sync"
	"time"

	"padlark/storage"
)

// Bounds of the column cache.
const (
	cacheBytes = 96 << 20 // times and one channel of 10 h at 50 Hz take 29 MB
	maxExpect  = 4 << 20  // samples that memory is set aside for at once
)

// columnKey names channels of one rocket in one stretch of a session.
type columnKey struct {
	session, rocket string
	from, to        int64  // Unix ns, 0 = unbounded
	channels        string // with commas, empty = all
}

// columns are the samples of one rocket turned on their side: times once, one
// slice for each channel that was asked for, NaN where a sample has no value.
type columns struct {
	epoch  time.Time // t = 0
	t      []float64 // s, rising
	names  []string  // of all channels that the samples have
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

// columnsOf reads some channels (all if names is empty) of one rocket's samples of
// a stretch of a session, times in s since zero. What is over is read once; to
// what is not, only the samples that came since are added.
func (s *Server) columnsOf(ctx context.Context, q storage.Query, names []string, zero time.Time, over bool) (*columns, error) {
	names = slices.Compact(slices.Sorted(slices.Values(names)))
	key := columnKey{q.Session, q.Rocket, nanos(q.From), nanos(q.To), strings.Join(names, ",")}
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
	c := &columns{epoch: zero, values: map[string][]float64{}}
	if old != nil {
		// Growing a slice leaves alone what others read of it.
		c = &columns{epoch: zero, t: old.t, names: slices.Clone(old.names), values: maps.Clone(old.values), passed: old.passed}
		q.FromPassed = old.passed + 1
	}
	if err := c.read(ctx, s.opt.Archive, q, names); err != nil {
		return nil, err
	}
	s.columns.put(key, c)
	return c, nil
}

// read adds the samples of a query. A frame heard on two links is two samples
// of one measurement: the later one is left out.
func (c *columns) read(ctx context.Context, a Archive, q storage.Query, names []string) error {
	if len(names) == 0 {
		names = nil
	}
	epoch := c.epoch.UnixNano()
	before := len(c.t)
	err := a.Columns(ctx, q, names, func(part *storage.Columns) error {
		have := len(c.t)
		if more := min(part.Ahead, maxExpect); have+more > cap(c.t) {
			c.t = slices.Grow(c.t, more)
		}
		for _, at := range part.At {
			c.t = append(c.t, time.Duration(at-epoch).Seconds())
		}
		c.passed = max(c.passed, part.Passed)
		for _, name := range part.Channels {
			if !slices.Contains(c.names, name) {
				c.names = append(c.names, name)
			}
		}
		asked := names
		if asked == nil {
			asked = part.Channels
		}
		for i, name := range asked {
			v := c.values[name]
			if cap(v) < len(c.t) {
				v = slices.Grow(v, cap(c.t)-len(v))
			}
			c.values[name] = append(padTo(v, have), part.Values[i]...)
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("read samples of %s: %w", q.Rocket, err)
	}
	for name, v := range c.values {
		if !slices.Contains(c.names, name) {
			delete(c.values, name) // asked for, and no sample has it
			continue
		}
		c.values[name] = padTo(v, len(c.t))
	}
	if len(c.t) == before {
		return nil
	}
	if !slices.IsSorted(c.t) {
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

// sort brings the columns into the order of time: one link comes after another,
// and a sample may be late. So there are a few long runs that rise, which are
// merged two by two.
func (c *columns) sort() {
	index := make([]int, len(c.t))
	runs := []int{0} // where each begins
	for i := range index {
		index[i] = i
		if i > 0 && c.t[i] < c.t[i-1] {
			runs = append(runs, i)
		}
	}
	other := make([]int, len(index))
	for len(runs) > 1 {
		var longer []int
		for i := 0; i < len(runs); i += 2 {
			from, mid, to := runs[i], len(index), len(index)
			if i+1 < len(runs) {
				mid = runs[i+1]
			}
			if i+2 < len(runs) {
				to = runs[i+2]
			}
			c.merge(other[from:from], index[from:mid], index[mid:to])
			longer = append(longer, from)
		}
		index, other, runs = other, index, longer
	}
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

// merge appends two runs of places to out in the order of their times.
func (c *columns) merge(out, a, b []int) {
	for len(a) > 0 && len(b) > 0 {
		if c.t[b[0]] < c.t[a[0]] {
			out, b = append(out, b[0]), b[1:]
			continue
		}
		out, a = append(out, a[0]), a[1:]
	}
	_ = append(append(out, a...), b...) // they fit: out has the runs' place
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
