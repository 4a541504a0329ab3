package web

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
)

// turns lets one at a time do what is dear, here a passphrase hash of 64 MiB.
// Of those that wait the one with the lowest rank is next, among equals the one
// that has waited longest. There is room for few: somebody of a higher rank than
// all of them is sent away. It is safe for concurrent use.
type turns struct {
	most int // that may wait

	mu      sync.Mutex
	busy    bool
	waiting []*turn // by rank, then by arrival
}

type turn struct {
	rank  int
	ready chan error // gets nil once it is its turn, or why it never is; holds one
}

// errCrowded is returned to whoever has to come again later.
var errCrowded = errors.New("too many are before you")

// take waits for a turn; give must follow if the error is nil.
func (q *turns) take(ctx context.Context, rank int) error {
	q.mu.Lock()
	if !q.busy {
		q.busy = true
		q.mu.Unlock()
		return nil
	}
	t := &turn{rank: rank, ready: make(chan error, 1)}
	at, _ := slices.BinarySearchFunc(q.waiting, rank, func(w *turn, rank int) int {
		if w.rank <= rank {
			return -1
		}
		return 1
	})
	q.waiting = slices.Insert(q.waiting, at, t)
	if n := len(q.waiting); n > q.most {
		q.waiting[n-1].ready <- errCrowded
		q.waiting = q.waiting[:n-1]
	}
	q.mu.Unlock()
	select {
	case err := <-t.ready:
		return err
	case <-ctx.Done():
	}
	q.mu.Lock()
	i := slices.Index(q.waiting, t)
	if i >= 0 {
		q.waiting = slices.Delete(q.waiting, i, i+1)
	}
	q.mu.Unlock()
	if i < 0 && <-t.ready == nil {
		q.give() // it had become its turn at that moment
	}
	return fmt.Errorf("wait for a turn: %w", ctx.Err())
}

// give passes the turn on.
func (q *turns) give() {
	q.mu.Lock()
	defer q.mu.Unlock()
	if len(q.waiting) == 0 {
		q.busy = false
		return
	}
	q.waiting[0].ready <- nil
	q.waiting = slices.Delete(q.waiting, 0, 1)
}
