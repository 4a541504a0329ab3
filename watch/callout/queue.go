package callout

import "time"

// queueSize bounds the calls that wait. When it is full the least urgent of
// all, the oldest among equals, is dropped and counted.
const queueSize = 16

// lateness is the longest time from when a call became known until its command
// starts; after that it is dropped and counted.
const lateness = time.Second

// lateWarning is lateness for a warning: a fall takes so long, and on a computer
// that has no time to start a program "look up" is worth saying as long as it lasts.
const lateWarning = 5 * time.Second

// patience is how long a call may wait.
func (c *Call) patience() time.Duration {
	if c.Rank == Warning {
		return lateWarning
	}
	return lateness
}

// waiting is a call in the queue.
type waiting struct {
	Call
	until time.Time // it is stale after this
	order uint64
}

// queue holds calls by rank, then by age. It is a small slice: 16 entries need
// no heap.
type queue struct {
	items [queueSize]waiting
	n     int
	next  uint64
	Drops Drops
}

// Drops counts calls that were never said, by reason.
type Drops struct {
	Stale    uint64 `json:"stale"`    // would have come too late
	Full     uint64 `json:"full"`     // too many more urgent ones waited
	Replaced uint64 `json:"replaced"` // a newer number of the same rocket came
	Cut      uint64 `json:"cut"`      // interrupted by something more urgent
}

// push adds a call that became known age ago.
func (q *queue) push(c Call, now time.Time, age time.Duration) {
	w := waiting{Call: c, until: now.Add(c.patience() - age), order: q.next}
	q.next++
	if age > c.patience() {
		q.Drops.Stale++
		return
	}
	if c.Rank == Number {
		for i := range q.n {
			if q.items[i].Rank == Number && q.items[i].Rocket == c.Rocket {
				q.items[i] = w
				q.Drops.Replaced++
				return
			}
		}
	}
	q.expire(now)
	if q.n == queueSize {
		worst := q.pick(func(a, b waiting) bool { return a.Rank > b.Rank || a.Rank == b.Rank && a.order < b.order })
		q.Drops.Full++
		if q.items[worst].Rank < c.Rank {
			return
		}
		q.remove(worst)
	}
	q.items[q.n] = w
	q.n++
}

// head gives the most urgent call that is not stale.
func (q *queue) head(now time.Time) (waiting, bool) {
	q.expire(now)
	if q.n == 0 {
		return waiting{}, false
	}
	return q.items[q.first()], true
}

// pop takes the head away.
func (q *queue) pop() { q.remove(q.first()) }

func (q *queue) first() int {
	return q.pick(func(a, b waiting) bool { return a.Rank < b.Rank || a.Rank == b.Rank && a.order < b.order })
}

// expire drops what has become stale.
func (q *queue) expire(now time.Time) {
	for i := q.n - 1; i >= 0; i-- {
		if now.After(q.items[i].until) {
			q.remove(i)
			q.Drops.Stale++
		}
	}
}

// pick is the index of the entry that comes before all others.
func (q *queue) pick(before func(a, b waiting) bool) int {
	best := 0
	for i := 1; i < q.n; i++ {
		if before(q.items[i], q.items[best]) {
			best = i
		}
	}
	return best
}

func (q *queue) remove(i int) {
	q.n--
	q.items[i] = q.items[q.n]
	q.items[q.n] = waiting{}
}
