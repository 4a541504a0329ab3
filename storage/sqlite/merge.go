package sqlite

import (
	"context"
	"errors"
)

// errDone ends a merge without an error.
var errDone = errors.New("done")

// stream gives the rows of one track in the order of their numbers. load returns
// those of the next block, and none at the end.
type stream[T any] struct {
	load func(ctx context.Context) ([]T, error)
	buf  []T
	next int
	end  bool
}

// head returns the next row without taking it; nil at the end.
func (s *stream[T]) head(ctx context.Context) (*T, error) {
	for s.next == len(s.buf) {
		if s.end {
			return nil, nil
		}
		buf, err := s.load(ctx)
		if err != nil {
			return nil, err
		}
		s.buf, s.next, s.end = buf, 0, buf == nil
	}
	return &s.buf[s.next], nil
}

// merge calls fn for the rows of several streams in one order. Each gives its
// rows in that order already; there are few, so the smallest head is simply
// looked for.
func merge[T any](ctx context.Context, streams []*stream[T], before func(x, y *T) bool, fn func(*T) error) error {
	for {
		var first *T
		var from *stream[T]
		for _, p := range streams {
			h, err := p.head(ctx)
			if err != nil {
				return err
			}
			if h != nil && (first == nil || before(h, first)) {
				first, from = h, p
			}
		}
		if first == nil {
			return nil
		}
		from.next++
		if err := fn(first); err != nil {
			if errors.Is(err, errDone) {
				return nil
			}
			return err
		}
	}
}
