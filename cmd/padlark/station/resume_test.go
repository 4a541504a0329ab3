package station

import (
	"testing"
	"time"

	"padlark/storage"
)

// How long a break was is told by the surest clock there is.
func TestGoneOn(t *testing.T) {
	epoch := time.Date(2026, 5, 16, 10, 0, 0, 0, time.UTC)
	const last = time.Hour
	at := func(d time.Duration) time.Time { return epoch.Add(d) }
	for _, c := range []struct {
		name  string
		b     breakTime
		since time.Duration
		ok    bool
	}{
		{"a minute ago, by the system's own clock", breakTime{same: true, since: last + time.Minute, now: at(-20 * 365 * 24 * time.Hour)}, last + time.Minute, true},
		{"an hour ago, by the system's own clock", breakTime{same: true, since: 2 * last, now: at(last + time.Minute)}, 0, false},
		{"a minute ago, by a clock that is right", breakTime{now: at(last + time.Minute), synced: true, up: 30 * time.Second}, last + time.Minute, true},
		{"a day ago, by a clock that is right", breakTime{now: at(24 * time.Hour), synced: true, up: 30 * time.Second}, 0, false},
		{"by a clock set right since", breakTime{now: at(last + time.Minute + time.Hour), old: storage.Session{Shift: time.Hour}, up: time.Hour}, last + time.Minute, true},
		{"the date is an hour off after a power cut", breakTime{now: at(0), up: 40 * time.Second}, last + 40*time.Second, true},
		{"the date is 20 years off after a power cut", breakTime{now: at(-20 * 365 * 24 * time.Hour), up: 40 * time.Second}, last + 40*time.Second, true},
		{"the same, with a system that has run for long", breakTime{now: at(0), up: time.Hour}, 0, false},
		{"years later by a clock that nobody vouches for, on the pad", breakTime{now: at(3 * 365 * 24 * time.Hour), up: 40 * time.Second}, 0, false},
		{"the same in flight", breakTime{now: at(3 * 365 * 24 * time.Hour), up: 40 * time.Second, flying: true}, last + 40*time.Second, true},
	} {
		c.b.old.Epoch, c.b.last = epoch, last
		since, ok := c.b.goneOn()
		if ok != c.ok || ok && since != c.since {
			t.Errorf("%s: %v %v, want %v %v", c.name, since, ok, c.since, c.ok)
		}
	}
}
