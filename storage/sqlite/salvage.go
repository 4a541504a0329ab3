package sqlite

import (
	"context"
	"errors"
	"fmt"
	"math"
	"sync"

	lib "modernc.org/sqlite/lib"

	"padlark/storage/sqlite/block"
)

// Loss is a stretch of rows that could not be read from a damaged archive.
type Loss struct {
	Table   string // frames or samples, or another table as a whole
	Session string
	Link    string
	Rocket  string // for samples
	// Note says what no numbers can; the other fields are empty then.
	Note string
	// From and To are the frame numbers around the hole: rows between them,
	// excluding both, may be missing. To is 0 when nothing after From could be read.
	From, To uint64
}

// String says it in words.
func (l Loss) String() string {
	s := l.Table
	if l.Session != "" {
		s += " of session " + l.Session
	}
	if l.Rocket != "" {
		s += ", rocket " + l.Rocket
	}
	if l.Link != "" {
		s += ", link " + l.Link
	}
	switch {
	case l.Note != "":
		return l.Table + ": " + l.Note
	case l.Link == "":
		return s + ": cannot be read"
	case l.To == 0:
		return fmt.Sprintf("%s: nothing after frame %d can be read", s, l.From)
	}
	return fmt.Sprintf("%s: nothing between frames %d and %d can be read", s, l.From, l.To)
}

// lossList gathers what a damaged file has cost so far.
type lossList struct {
	mu   sync.Mutex
	list []Loss
}

func (l *lossList) add(x Loss) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, y := range l.list {
		if x == y {
			return // read twice
		}
	}
	l.list = append(l.list, x)
}

// Lost lists what the reading methods have had to leave out so far because the
// file is damaged. Only an archive opened by OpenReadOnly leaves anything out; a
// writable one returns ErrDamaged.
func (a *Archive) Lost() []Loss {
	a.lost.mu.Lock()
	defer a.lost.mu.Unlock()
	return append([]Loss(nil), a.lost.list...)
}

// damaged says whether an error means that some page is not what it should be.
func damaged(err error) bool {
	return code(err) == lib.SQLITE_CORRUPT || errors.Is(err, errShortRead) || errors.Is(err, block.ErrDamaged)
}

// errShortRead is returned by a page function that met a row it cannot read.
var errShortRead = errors.New("row cannot be read")

// pageRows is how many rows are read at a time.
const pageRows = 512

// pager reads the rows of a damaged table in the order of their numbers, past
// those that cannot be read. Its read function returns at most limit rows with a
// number above after.
type pager[T any] struct {
	read   func(ctx context.Context, after int64, limit int) ([]T, error)
	number func(T) int64
	// hole is told of numbers that could not be read, excluding both.
	hole func(from, to int64)

	buf  []T
	next int
	last int64 // number of the newest row read
	end  bool
}

// head returns the next row without taking it; nil at the end.
func (p *pager[T]) head(ctx context.Context) (*T, error) {
	for p.next == len(p.buf) {
		if p.end {
			return nil, nil
		}
		if err := p.fill(ctx); err != nil {
			return nil, err
		}
	}
	return &p.buf[p.next], nil
}

func (p *pager[T]) fill(ctx context.Context) error {
	rows, err := p.read(ctx, p.last, pageRows)
	if err != nil && damaged(err) {
		return p.skip(ctx)
	}
	if err != nil {
		return err
	}
	p.take(rows)
	p.end = len(rows) < pageRows
	return nil
}

func (p *pager[T]) take(rows []T) {
	p.buf, p.next = rows, 0
	if len(rows) > 0 {
		p.last = p.number(rows[len(rows)-1])
	}
}

// skip finds what can still be read where a page failed: first row by row up to
// the damage, then in growing steps beyond it, then back to the first row that
// can be read.
func (p *pager[T]) skip(ctx context.Context) error {
	var got []T
	for {
		one, err := p.read(ctx, p.last, 1)
		if err != nil && !damaged(err) {
			return err
		}
		if err != nil || len(one) == 0 {
			break
		}
		got = append(got, one[0])
		p.last = p.number(one[0])
		if len(got) >= pageRows {
			p.take(got)
			return nil
		}
	}
	from := p.last
	beyond, err := p.beyond(ctx, from)
	if err != nil {
		return err
	}
	p.buf, p.next = got, 0
	if beyond == nil {
		p.hole(from, 0)
		p.end = true
		return nil
	}
	to := p.number(*beyond)
	p.hole(from, to)
	p.buf = append(p.buf, *beyond)
	p.last = to
	return nil
}

// beyond returns the first readable row after the damage that follows from.
func (p *pager[T]) beyond(ctx context.Context, from int64) (*T, error) {
	try := func(after int64) (*T, error) {
		rows, err := p.read(ctx, after, 1)
		switch {
		case err != nil && damaged(err):
			return nil, nil
		case err != nil || len(rows) == 0:
			return nil, err
		}
		return &rows[0], nil
	}
	var found *T
	low, high := from, from
	for step := int64(1); found == nil; step *= 2 {
		if step > math.MaxInt32 {
			return nil, nil
		}
		low, high = high, from+step
		var err error
		if found, err = try(high); err != nil {
			return nil, err
		}
	}
	for low+1 < high {
		mid := low + (high-low)/2
		row, err := try(mid)
		if err != nil {
			return nil, err
		}
		if row == nil {
			low = mid
			continue
		}
		high, found = mid, row
	}
	return found, nil
}
