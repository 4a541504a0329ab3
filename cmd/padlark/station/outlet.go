package station

import (
	"errors"
	"maps"
	"slices"
	"sync"

	"padlark/bus"
	"padlark/flight"
	"padlark/storage/journal"
)

// outlet is where what is found goes: to the bus at once, then into the journal.
type outlet struct {
	*bus.Bus
	journal  *journal.Journal // nil in a replay
	standing *standing
}

func newOutlet(b *bus.Bus, j *journal.Journal) outlet {
	return outlet{b, j, &standing{open: map[string]flight.Alarm{}}}
}

// standing are the alarms that are not settled.
type standing struct {
	mu   sync.Mutex
	open map[string]flight.Alarm // by id
}

// note takes the newest change of an alarm; the caller has the lock.
func (s *standing) note(a *flight.Alarm) {
	if a.Settled() {
		delete(s.open, a.ID)
	} else {
		s.open[a.ID] = *a
	}
}

// restore takes what stood before a start that goes on.
func (s *standing) restore(newest []flight.Alarm) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for i := range newest {
		s.note(&newest[i])
	}
}

// PublishAlarm publishes a change of an alarm. What stands is published in turn with
// the changes, so that nobody hears last of an alarm that is settled.
func (o outlet) PublishAlarm(a *flight.Alarm) error {
	o.standing.mu.Lock()
	defer o.standing.mu.Unlock()
	o.standing.note(a)
	return o.Bus.PublishAlarm(a)
}

// PublishStanding publishes what stands, for whoever has come after its change.
func (o outlet) PublishStanding() error {
	o.standing.mu.Lock()
	defer o.standing.mu.Unlock()
	var errs []error
	for _, id := range slices.Sorted(maps.Keys(o.standing.open)) {
		a := o.standing.open[id]
		errs = append(errs, o.Bus.PublishStanding(&a))
	}
	return errors.Join(errs...)
}

// Record keeps what has been published.
func (o outlet) Record(events []flight.Event, alarms []flight.Alarm) error {
	if o.journal == nil {
		return nil
	}
	var errs []error
	for i := range alarms {
		errs = append(errs, o.journal.Alarm(&alarms[i]))
	}
	for i := range events {
		errs = append(errs, o.journal.Event(&events[i]))
	}
	return errors.Join(errs...)
}

// event publishes an event that the watcher did not find, and keeps it.
func (o outlet) event(e flight.Event) error {
	return errors.Join(o.Bus.PublishEvent(&e), o.Record([]flight.Event{e}, nil))
}

// alarm publishes a change of an alarm that is not the watcher's, and keeps it.
func (o outlet) alarm(a flight.Alarm) error {
	return errors.Join(o.PublishAlarm(&a), o.Record(nil, []flight.Alarm{a}))
}
