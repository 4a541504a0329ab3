package sqlite

import (
	"context"
	"errors"
)

// errDone ends a merge without an error.
var errDone = errors.New("done")

// merge calls fn for the rows of several pagers in one order. Each pager gives
// its rows in that order already; there are few pagers, so the smallest head is
// simply looked for.
func merge[T any](ctx context.Context, pagers []*pager[T], before func(x, y *T) bool, fn func(*T) error) error {
	for {
		var first *T
		var from *pager[T]
		for _, p := range pagers {
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
