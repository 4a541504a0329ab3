package wire

import (
	"padlark/decode"
	"padlark/flight"
	"padlark/watch"
)

// Machine fits the watcher's engine to web.Machine.
type Machine struct{ *watch.Engine }

// Sample handles one sample and, before it, every tick that was due.
func (m Machine) Sample(s *decode.Sample) ([]flight.Event, []flight.Alarm) {
	out := m.Engine.Sample(s)
	return out.Events, out.Alarms
}

// Advance handles every tick up to passed.
func (m Machine) Advance(passed int64) ([]flight.Event, []flight.Alarm) {
	out := m.Engine.Advance(passed)
	return out.Events, out.Alarms
}
