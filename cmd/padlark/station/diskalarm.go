package station

import (
	"context"
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
	bus     interface {
		PublishAlarm(ctx context.Context, a flight.Alarm) error
	}
	log zerolog.Logger

	mu   sync.Mutex
	open []flight.Alarm // active or not acknowledged, in the order of raising
}

// adopt takes over what an interrupted run of the session has left open; all
// holds the changes of its alarms. It says whether one of them is still active.
func (d *diskAlarm) adopt(all []flight.Alarm) (active bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	newest := map[string]flight.Alarm{}
	for _, a := range all {
		if a.Kind == alarm.DiskFull && a.Change > newest[a.ID].Change {
			newest[a.ID] = a
		}
	}
	for _, a := range newest {
		if a.Active || !a.Acked {
			d.open = append(d.open, a)
			active = active || a.Active
		}
	}
	slices.SortFunc(d.open, func(a, b flight.Alarm) int { return a.RaisedAt.Compare(b.RaisedAt) })
	return active
}

// raise opens the alarm at a time of the session, or raises one again that has
// returned to normal and was not acknowledged.
func (d *diskAlarm) raise(ctx context.Context, now time.Time, reason string) {
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
	a.Say, a.Reason = "Disk full, not recording", reason
	d.changed(ctx, a, now)
}

// clear returns it to normal.
func (d *diskAlarm) clear(ctx context.Context, now time.Time) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for i := range d.open {
		if a := &d.open[i]; a.Active {
			a.Active, a.Say = false, "Recording again"
			d.changed(ctx, a, now)
		}
	}
	d.tidy()
}

// Ack acknowledges it at a time of the session; false if no alarm of that ID is
// open and not acknowledged.
func (d *diskAlarm) Ack(ctx context.Context, id string, at time.Time) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	i := slices.IndexFunc(d.open, func(a flight.Alarm) bool { return a.ID == id && !a.Acked })
	if i < 0 {
		return false
	}
	d.open[i].Acked = true
	d.changed(ctx, &d.open[i], at)
	d.tidy()
	return true
}

// tidy forgets what is neither active nor waits for anybody.
func (d *diskAlarm) tidy() {
	d.open = slices.DeleteFunc(d.open, func(a flight.Alarm) bool { return !a.Active && a.Acked })
}

// changed publishes a change.
func (d *diskAlarm) changed(ctx context.Context, a *flight.Alarm, at time.Time) {
	a.Change++
	a.ChangedAt = at
	if err := d.bus.PublishAlarm(ctx, *a); err != nil && ctx.Err() == nil {
		d.log.Error().Err(err).Msg("the alarm cannot be published")
	}
}
