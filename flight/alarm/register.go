package alarm

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"padlark/flight"
	"padlark/flight/phrase"
)

// Register runs the life cycle of IEC 62682 over alarms of one session: raised,
// acknowledged, returned to normal; restored after a restart. The rules of the
// rockets have one (see Book), the station itself has one (see ForStation). It is
// not safe for concurrent use. Slices of changes are valid until the next call.
type Register struct {
	session string
	slots   []*slot // by rocket, then by kind, most urgent first
	// above is what the numbers of alarms that are raised from now on are above.
	above int
	out   []flight.Alarm
}

// slot is the place of one kind of alarm about one rocket, or about the station:
// its present alarm, if any, and the number of its newest.
type slot struct {
	rocket, kind string
	count        int
	open         bool // active, or waiting to be acknowledged
	flight.Alarm
}

// ForStation makes the register of the station's own alarms.
func ForStation(session string) *Register {
	r := &Register{session: session}
	kinds := make([]string, len(stationKinds))
	for i, k := range stationKinds {
		kinds[i] = k.Kind
	}
	r.add("", kinds)
	return r
}

// add makes places for kinds of alarm about a rocket.
func (r *Register) add(rocket string, kinds []string) []*slot {
	added := make([]*slot, len(kinds))
	for i, k := range kinds {
		added[i] = &slot{rocket: rocket, kind: k}
	}
	at, _ := slices.BinarySearchFunc(r.slots, rocket, func(s *slot, to string) int { return strings.Compare(s.rocket, to) })
	r.slots = slices.Insert(r.slots, at, added...)
	return added
}

// begin starts a call that brings changes about.
func (r *Register) begin() { r.out = r.out[:0] }

// Raise raises one of the station's own alarms; one that is active stays as it is.
// Its number is above sinceMs, the time of the session in ms: on a full disk a
// journal may not know of one that an interrupted run has raised.
func (r *Register) Raise(kind string, p flight.Priority, say, reason phrase.Phrase, now time.Time, sinceMs int64) []flight.Alarm {
	r.begin()
	for _, s := range r.slots {
		if s.kind == kind && s.rocket == "" && !s.Active {
			r.above = max(r.above, int(sinceMs)-1)
			r.raise(s, words{p, say, reason}, now)
		}
	}
	return r.out
}

// Clear returns one of the station's own alarms to normal; say, if it is not
// none, is what is said of it then.
func (r *Register) Clear(kind string, say phrase.Phrase, now time.Time) []flight.Alarm {
	r.begin()
	for _, s := range r.slots {
		if s.kind == kind && s.rocket == "" && s.Active {
			if !say.None() {
				s.Say, s.SayPhrase = phrase.Reader{}.Write(say, ""), say
			}
			r.clear(s, now)
		}
	}
	return r.out
}

// raise opens an alarm, or raises one again that had returned to normal without
// being acknowledged.
func (r *Register) raise(s *slot, w words, now time.Time) {
	if !s.open {
		s.count = max(s.count, r.above) + 1
		s.open = true
		id := fmt.Sprintf("%s/%d", s.kind, s.count)
		if s.rocket != "" {
			id = s.rocket + "/" + id
		}
		s.Alarm = flight.Alarm{Session: r.session, ID: id, Rocket: s.rocket, Kind: s.kind, Flight: s.Flight, Link: s.Link}
	}
	s.Active, s.Acked = true, false
	s.RaisedAt = now
	s.word(w)
	r.changed(s, now)
}

// word gives an alarm its words; those in English are for programs and for archives
// that are read by a padlark that no longer knows the phrase.
func (s *slot) word(w words) {
	var english phrase.Reader
	s.Priority, s.SayPhrase, s.ReasonPhrase = w.priority, w.say, w.reason
	s.Say, s.Reason = english.Write(w.say, ""), english.Write(w.reason, "")
}

// renew tells an active alarm with the numbers of now. It is no new alarm: when it
// was raised and whether it was acknowledged stay.
func (r *Register) renew(s *slot, w words, now time.Time) {
	was := s.Alarm
	if s.word(w); was.Say == s.Say && was.Reason == s.Reason {
		s.Alarm = was // the same to everybody, to the last digit that is shown
		return
	}
	r.changed(s, now)
}

// clear returns an active alarm to normal.
func (r *Register) clear(s *slot, now time.Time) {
	s.Active = false
	s.open = !s.Acked
	r.changed(s, now)
}

// forget ends all alarms of a rocket: nobody has to acknowledge them. If it comes
// back, its numbers are new ones.
func (r *Register) forget(rocket string, now time.Time) {
	r.slots = slices.DeleteFunc(r.slots, func(s *slot) bool {
		if s.rocket != rocket {
			return false
		}
		r.settle(s, now)
		r.above = max(r.above, s.count)
		return true
	})
}

// settle ends an alarm without anybody's doing.
func (r *Register) settle(s *slot, now time.Time) {
	if s.open {
		s.Active, s.Acked, s.open = false, true, false
		r.changed(s, now)
	}
}

func (r *Register) changed(s *slot, now time.Time) {
	s.Change++
	s.ChangedAt = now
	r.out = append(r.out, s.Alarm)
}

// Ack acknowledges one alarm by its ID at a time of the session. It gives the
// change, or nothing when no such alarm is open or it was acknowledged before.
func (r *Register) Ack(id string, now time.Time) []flight.Alarm {
	r.begin()
	for _, s := range r.slots {
		if s.open && s.ID == id && !s.Acked {
			s.Acked = true
			s.open = s.Active
			r.changed(s, now)
			break
		}
	}
	return r.out
}

// Open lists the alarms that are active or not acknowledged yet: most urgent
// first, then the newest. The caller owns the slice.
func (r *Register) Open() []flight.Alarm {
	var out []flight.Alarm
	for _, s := range r.slots {
		if s.open {
			out = append(out, s.Alarm)
		}
	}
	slices.SortStableFunc(out, func(a, b flight.Alarm) int {
		if a.Active != b.Active {
			if a.Active {
				return -1
			}
			return 1
		}
		return cmp.Or(cmp.Compare(a.Priority, b.Priority), b.RaisedAt.Compare(a.RaisedAt))
	})
	return out
}

// Restore brings back what a journal knows after a restart: the newest change of
// each alarm of the session. What is computed again from the samples comes first;
// Restore lays the acknowledgements over the alarms that came out, and opens those
// that did not.
func (r *Register) Restore(newest []flight.Alarm) {
	for _, a := range newest {
		i := slices.IndexFunc(r.slots, func(s *slot) bool { return s.rocket == a.Rocket && s.kind == a.Kind })
		if i < 0 {
			continue // another register's
		}
		s := r.slots[i]
		switch n := number(a.ID); {
		case s.ID == a.ID:
			if a.Change >= s.Change {
				s.Acked, s.Change = s.Acked || a.Acked, a.Change
			}
		case n > s.count:
			s.count = n
			s.Alarm = a
		}
		s.open = s.ID != "" && (s.Active || !s.Acked)
	}
}

// number is the running number at the end of an alarm's ID, 0 if it has none.
func number(id string) int {
	n, scale := 0, 1
	for i := len(id) - 1; i >= 0 && id[i] >= '0' && id[i] <= '9' && scale < 1e9; i-- {
		n += int(id[i]-'0') * scale
		scale *= 10
	}
	return n
}
