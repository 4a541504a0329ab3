package station

import (
	"sync"
	"time"

	"github.com/rs/zerolog"

	"padlark/flight"
	"padlark/flight/alarm"
	"padlark/flight/phrase"
)

// ownAlarms are the alarms of the station itself: a full disk, a time-series server
// that is away. Whoever notices raises and clears them here.
type ownAlarms struct {
	epoch time.Time
	now   func() time.Time           // session time
	tell  func(a flight.Alarm) error // publishes and keeps a change
	log   zerolog.Logger

	mu       sync.Mutex
	register *alarm.Register
}

// openAlarms makes the register of the station's alarms, with what an interrupted
// run of the session has left of them.
func (s *station) openAlarms() {
	s.own = &ownAlarms{epoch: s.session.Epoch, now: s.now, tell: s.out.alarm, log: s.log, register: alarm.ForStation(s.session.ID)}
	if s.rebuilt == nil {
		return
	}
	s.own.register.Restore(s.rebuilt.alarms.List())
	if !s.diskFull() {
		s.own.Clear(alarm.DiskFull, phrase.Of("disk-full.again"))
	}
}

// Raise raises an alarm; one that is active stays as it is.
func (o *ownAlarms) Raise(kind string, p flight.Priority, say, reason phrase.Phrase) {
	o.mu.Lock()
	defer o.mu.Unlock()
	now := o.now()
	o.publish(o.register.Raise(kind, p, say, reason, now, now.Sub(o.epoch).Milliseconds()))
}

// Clear returns an alarm to normal; say, if it is not none, is what is said of it then.
func (o *ownAlarms) Clear(kind string, say phrase.Phrase) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.publish(o.register.Clear(kind, say, o.now()))
}

// Ack acknowledges an alarm; false if none of that ID is open and not acknowledged.
func (o *ownAlarms) Ack(id string) bool {
	o.mu.Lock()
	defer o.mu.Unlock()
	changes := o.register.Ack(id, o.now())
	o.publish(changes)
	return len(changes) > 0
}

// publish tells changes, in order; the caller has the lock.
func (o *ownAlarms) publish(changes []flight.Alarm) {
	for _, a := range changes {
		if err := o.tell(a); err != nil {
			o.log.Error().Err(err).Str("alarm", a.ID).Msg("the alarm cannot be published")
		}
	}
}
