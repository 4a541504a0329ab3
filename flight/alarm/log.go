package alarm

import (
	"cmp"
	"maps"
	"slices"
	"strings"
	"time"

	"padlark/flight"
)

// Newest is the newest change of each alarm of a session, by ID.
type Newest map[string]flight.Alarm

// Take takes a change and says whether it is newer than what was there.
func (n Newest) Take(a *flight.Alarm) bool {
	if a.Change <= n[a.ID].Change {
		return false
	}
	n[a.ID] = *a
	return true
}

// List gives them in the order in which they were raised.
func (n Newest) List() []flight.Alarm {
	return slices.SortedFunc(maps.Values(n), func(x, y flight.Alarm) int {
		return cmp.Or(x.RaisedAt.Compare(y.RaisedAt), strings.Compare(x.ID, y.ID))
	})
}

// Raising is one time that an alarm was raised, with the words that it was raised
// with, and how it went on. One that is raised again, before anybody acknowledged
// it, is the same alarm and another raising.
type Raising struct {
	flight.Alarm
	OverAt  *time.Time `json:"over_at"`  // when its condition ended; nil while it holds
	AckedAt *time.Time `json:"acked_at"` // nil if nobody acknowledged it
}

// Log joins changes of alarms into the times that they were raised, in that order.
// Changes of one flight give those of that flight: an alarm that nobody acknowledged
// is raised again in the next one under the same ID.
func Log(changes []flight.Alarm) []Raising {
	type raise struct {
		id string
		at int64
	}
	out := []Raising{}
	place := map[raise]int{}
	for _, c := range changes {
		k := raise{c.ID, c.RaisedAt.UnixNano()}
		i, known := place[k]
		if !known {
			i = len(out)
			place[k] = i
			out = append(out, Raising{Alarm: c})
		}
		r := &out[i]
		at := c.ChangedAt
		if c.Active {
			r.OverAt = nil
		} else if r.OverAt == nil {
			r.OverAt = &at
		}
		if c.Acked && r.AckedAt == nil {
			r.AckedAt = &at
		}
		r.Change, r.ChangedAt, r.Active, r.Acked = c.Change, c.ChangedAt, c.Active, c.Acked
	}
	slices.SortStableFunc(out, func(x, y Raising) int { return x.RaisedAt.Compare(y.RaisedAt) })
	return out
}
