package journal

import (
	"context"
	"errors"
	"fmt"
	"time"
)

// waiter is somebody who waits for the journal to grow.
type waiter struct {
	end   int64 // to at least this many bytes
	note  int64 // or by a note that ends behind this
	there chan struct{}
}

// wake lets go whoever has waited long enough; the caller has the lock.
func (j *Journal) wake() {
	left := j.waiters[:0]
	for _, w := range j.waiters {
		if j.end >= w.end || j.noted > w.note || j.closed {
			close(w.there)
		} else {
			left = append(left, w)
		}
	}
	j.waiters = left
}

// notes says where the last note ends, and the last one of a landing.
func (j *Journal) notes() (noted, landed int64) {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.noted, j.landed
}

// await waits until the journal has end bytes, or a note behind note, or until
// limit fires or ctx ends; both may be left out with nil. It returns how long
// the journal is.
func (j *Journal) await(ctx context.Context, end, note int64, limit <-chan time.Time, hurry <-chan struct{}) int64 {
	w := &waiter{end: end, note: note, there: make(chan struct{})}
	j.mu.Lock()
	j.waiters = append(j.waiters, w)
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
	for i, x := range j.waiters {
		if x == w {
			j.waiters = append(j.waiters[:i], j.waiters[i+1:]...)
			break
		}
	}
	return j.end
}

// place is how far a follower has come, and lets others wait for it.
type place struct {
	at    int64
	ended bool          // Run has returned
	moved chan struct{} // closed and renewed when either changes; nil until somebody waits
}

// Place is where the follower has come: what ends there or before has been
// taken.
func (f *Follower) Place() int64 {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.place.at
}

func (f *Follower) moveTo(at int64) { f.move(func(p *place) { p.at = at }) }

func (f *Follower) move(how func(*place)) {
	f.mu.Lock()
	defer f.mu.Unlock()
	how(&f.place)
	if f.place.moved != nil {
		close(f.place.moved)
		f.place.moved = nil
	}
}

// errEnded is returned to whoever waits for a follower that has stopped before.
var errEnded = errors.New("it has stopped")

// WaitFor returns when everything up to a place has been taken, or ctx's error,
// or errEnded when Run has returned before that.
func (f *Follower) WaitFor(ctx context.Context, at int64) error {
	for {
		f.mu.Lock()
		if f.place.at >= at {
			f.mu.Unlock()
			return nil
		}
		if f.place.ended {
			f.mu.Unlock()
			return fmt.Errorf("wait for the %s: %w", f.Name, errEnded)
		}
		if f.place.moved == nil {
			f.place.moved = make(chan struct{})
		}
		moved := f.place.moved
		f.mu.Unlock()
		select {
		case <-moved:
		case <-ctx.Done():
			return fmt.Errorf("wait for the %s to take %d bytes more of the journal: %w", f.Name, at-f.Place(), ctx.Err())
		}
	}
}
