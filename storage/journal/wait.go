package journal

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"
)

// waiter is somebody who waits for the journal, or a follower, to come further.
type waiter struct {
	end   int64 // to this many bytes
	note  int64 // or by a note that ends behind this
	there chan struct{}
}

// waiters are those who wait; whoever uses them has the lock of what they wait for.
type waiters []*waiter

func (ws *waiters) join(end, note int64) *waiter {
	w := &waiter{end: end, note: note, there: make(chan struct{})}
	*ws = append(*ws, w)
	return w
}

func (ws *waiters) leave(w *waiter) {
	if i := slices.Index(*ws, w); i >= 0 {
		*ws = slices.Delete(*ws, i, i+1)
	}
}

// wake lets go whoever has waited long enough; all, if it comes no further.
func (ws *waiters) wake(end, note int64, all bool) {
	*ws = slices.DeleteFunc(*ws, func(w *waiter) bool {
		there := all || end >= w.end || note > w.note
		if there {
			close(w.there)
		}
		return there
	})
}

// wake lets go whoever has waited long enough; the caller has the lock.
func (j *Journal) wake() { j.waiters.wake(j.end, j.noted, j.closed) }

// notes says where the last note ends, the last one that no flight brought about which
// was under way, and the last one of a landing.
func (j *Journal) notes() (noted, soon, landed int64) {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.noted, j.soon, j.landed
}

// await waits until the journal has end bytes, or a note behind note, or until
// limit fires or ctx ends; both may be left out with nil. It returns how long
// the journal is.
func (j *Journal) await(ctx context.Context, end, note int64, limit <-chan time.Time, hurry <-chan struct{}) int64 {
	j.mu.Lock()
	w := j.waiters.join(end, note)
	j.wake()
	j.mu.Unlock()
	select {
	case <-w.there:
	case <-ctx.Done():
	case <-limit:
	case <-hurry:
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	j.waiters.leave(w)
	return j.end
}

// Place is where the follower has come: what ends there or before has been
// taken.
func (f *Follower) Place() int64 {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.place
}

// move says how far the follower has come, or that Run returns.
func (f *Follower) move(to int64, ended bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.place, f.ended = to, ended
	f.waiters.wake(to, 0, ended)
}

// errEnded is returned to whoever waits for a follower that has stopped before.
var errEnded = errors.New("it has stopped")

// WaitFor returns when everything up to a place has been taken, or ctx's error,
// or errEnded when Run has returned before that.
func (f *Follower) WaitFor(ctx context.Context, at int64) error {
	f.mu.Lock()
	w := f.waiters.join(at, never)
	f.waiters.wake(f.place, 0, f.ended)
	f.mu.Unlock()
	select {
	case <-w.there:
	case <-ctx.Done():
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	f.waiters.leave(w)
	switch {
	case f.place >= at:
		return nil
	case f.ended:
		return fmt.Errorf("wait for the %s: %w", f.Name, errEnded)
	}
	return fmt.Errorf("wait for the %s to take %d bytes more of the journal: %w", f.Name, at-f.place, ctx.Err())
}
