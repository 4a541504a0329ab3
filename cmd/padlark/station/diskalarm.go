package station

import (
	"fmt"
	"slices"
	"sync"
	"time"

	"github.com/rs/zerolog"

	"padlark/flight"
	"padlark/flight/alarm"
)

// diskAlarm is the alarm of a full disk, with the life cycle of all alarms: it
// is raised, acknowledged and returns to normal, and one that has returned
// without being acknowledged stays open until it is.
type diskAlarm struct {
	session string
	epoch   time.Time
	tell    func(a flight.Alarm) error // publishes and keeps a change
	log     zerolog.Logger

	mu   sync.Mutex
	open []flight.Alarm // active or not acknowledged, in the order of raising
}

// adopt takes over what an interrupted run of the session has left open; newest
// holds the newest change of each of its alarms. It says whether one is still
// active.
func (d *diskAlarm) adopt(newest map[string]flight.Alarm) (active bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, a := range newest {
		if a.Kind == alarm.DiskFull && (a.Active || !a.Acked) {
			d.open = append(d.open, a)
			active = active || a.Active
		}
	}
	slices.SortFunc(d.open, func(a, b flight.Alarm) int { return a.RaisedAt.Compare(b.RaisedAt) })
	return active
}

// raise opens the alarm at a time of the session, or raises one again that has
// returned to normal and was not acknowledged.
func (d *diskAlarm) raise(now time.Time, reason string) {
	d.raiseAs(now, "Disk full, not recording", reason)
}

// raiseAs is raise for another trouble with what is recorded.
func (d *diskAlarm) raiseAs(now time.Time, say, reason string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if len(d.open) == 0 {
		d.open = append(d.open, flight.Alarm{
			Session: d.session, ID: fmt.Sprintf("%s/%d", alarm.DiskFull, now.Sub(d.epoch).Milliseconds()),
			Kind: alarm.DiskFull, Priority: flight.Act,
		})
	}
	a := &d.open[len(d.open)-1]
	if a.Active {
		return // an interrupted run has raised it
	}
	a.Active, a.Acked, a.RaisedAt = true, false, now
	a.Say, a.Reason = say, reason
	d.changed(a, now)
}

// clear returns it to normal.
func (d *diskAlarm) clear(now time.Time) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for i := range d.open {
		if a := &d.open[i]; a.Active {
			a.Active, a.Say = false, "Recording again"
			d.changed(a, now)
		}
	}
	d.tidy()
}

// Ack acknowledges it at a time of the session; false if no alarm of that ID is
// open and not acknowledged.
func (d *diskAlarm) Ack(id string, at time.Time) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	i := slices.IndexFunc(d.open, func(a flight.Alarm) bool { return a.ID == id && !a.Acked })
	if i < 0 {
		return false
	}
	d.open[i].Acked = true
	d.changed(&d.open[i], at)
	d.tidy()
	return true
}

// tidy forgets what is neither active nor waits for anybody.
func (d *diskAlarm) tidy() {
	d.open = slices.DeleteFunc(d.open, func(a flight.Alarm) bool { return !a.Active && a.Acked })
}

// changed publishes a change.
func (d *diskAlarm) changed(a *flight.Alarm, at time.Time) {
	a.Change++
	a.ChangedAt = at
	if err := d.tell(*a); err != nil {
		d.log.Error().Err(err).Msg("the alarm cannot be published")
	}
}
