package ingest

import (
	"sync/atomic"
	"time"
)

// Clock is the session's time: an epoch read from the wall clock once, and
// monotonic time since then. Its zero value is not usable.
type Clock struct {
	// Epoch is the moment (UTC) from which Now counts.
	Epoch time.Time

	now     func() time.Duration
	virtual bool
}

// StartClock makes a clock whose epoch is now. It runs on the system's
// monotonic clock, so setting the system's date does not move it.
func StartClock() Clock {
	start := time.Now()
	return Clock{Epoch: start.UTC().Round(0), now: func() time.Duration { return time.Since(start) }}
}

// Now is the time since the epoch.
func (c Clock) Now() time.Duration { return c.now() }

// Virtual says that time does not pass by itself: whoever feeds the chunks
// moves the clock, and nothing waits for it.
func (c Clock) Virtual() bool { return c.virtual }

// At is the moment (UTC) that lies d after the epoch.
func (c Clock) At(d time.Duration) time.Time { return c.Epoch.Add(d).UTC() }

// VirtualClock is a clock that is moved by hand, for recorded and simulated
// sessions and for tests. It is safe for concurrent use.
type VirtualClock struct {
	epoch time.Time
	now   atomic.Int64
}

// NewVirtualClock makes a clock that stands at its epoch.
func NewVirtualClock(epoch time.Time) *VirtualClock {
	return &VirtualClock{epoch: epoch.UTC().Round(0)}
}

// Clock is the view that links and receivers take.
func (v *VirtualClock) Clock() Clock {
	return Clock{Epoch: v.epoch, now: func() time.Duration { return time.Duration(v.now.Load()) }, virtual: true}
}

// Advance moves the clock on to d after the epoch; it never moves it back.
func (v *VirtualClock) Advance(d time.Duration) {
	for {
		old := v.now.Load()
		if int64(d) <= old || v.now.CompareAndSwap(old, int64(d)) {
			return
		}
	}
}

// ContinueClock makes a clock that goes on with an earlier session's epoch and
// stands at since now: how a session that was interrupted goes on.
func ContinueClock(epoch time.Time, since time.Duration) Clock {
	start := time.Now()
	return Clock{Epoch: epoch.UTC(), now: func() time.Duration { return since + time.Since(start) }}
}
