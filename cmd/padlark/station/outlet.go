package station

import (
	"context"
	"errors"

	"padlark/bus"
	"padlark/flight"
	"padlark/storage/journal"
)

// outlet is where what is found goes: to the bus at once, then into the journal.
type outlet struct {
	*bus.Bus
	journal *journal.Journal // nil in a replay
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
	return errors.Join(o.Bus.PublishAlarm(&a), o.Record(nil, []flight.Alarm{a}))
}

// alarms is an outlet for who only has alarms.
type alarms struct{ outlet }

// PublishAlarm publishes a change of an alarm and keeps it.
func (a alarms) PublishAlarm(_ context.Context, al flight.Alarm) error { return a.alarm(al) }
