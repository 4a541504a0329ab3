package bus

import (
	"encoding/json"
	"fmt"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/ingest"
)

// Msg is one message of the bus. Data is JSON; it belongs to the receiver, who
// may keep it and must not write to it.
type Msg struct {
	Kind    Kind
	Subject string
	// Seq is the place in the stream, from 1; 0 for a message that came live
	// (Subscribe) and not out of the stream.
	Seq  uint64
	Data []byte
}

// Tick says how far a session's time has come, so that silence can be noticed.
type Tick struct {
	Session string    `json:"session"`
	Epoch   time.Time `json:"epoch"`
	// Mono is the session's time in ns since its epoch.
	Mono int64 `json:"mono_ns"`
	// AfterPassed is the Passed of the last sample published before the tick:
	// a consumer applies the tick once it has handled that sample.
	AfterPassed int64 `json:"after_passed_ns"`
	// After is the stream sequence of the last message published before the
	// tick. The bus fills it.
	After uint64 `json:"after"`
}

func read[T any](m Msg, want Kind) (T, error) {
	var v T
	if m.Kind != want {
		return v, fmt.Errorf("read message %d: it is a %s, not a %s", m.Seq, m.Kind, want)
	}
	if err := json.Unmarshal(m.Data, &v); err != nil {
		return v, fmt.Errorf("read %s message %d on %s: %w", m.Kind, m.Seq, m.Subject, err)
	}
	return v, nil
}

// Frame reads a message of kind Frame.
func (m Msg) Frame() (ingest.Frame, error) {
	if m.Kind == Frame {
		if f, ok := quickFrame(m.Data); ok {
			return f, nil
		}
	}
	return read[ingest.Frame](m, Frame)
}

// Sample reads a message of kind Sample. The channels' names come out sorted.
func (m Msg) Sample() (decode.Sample, error) {
	if m.Kind == Sample {
		if s, ok := quickSample(m.Data); ok {
			return s, nil
		}
	}
	return read[decode.Sample](m, Sample)
}

// Reject reads a message of kind Reject.
func (m Msg) Reject() (decode.Rejected, error) { return read[decode.Rejected](m, Reject) }

// Event reads a message of kind Event.
func (m Msg) Event() (flight.Event, error) { return read[flight.Event](m, Event) }

// Alarm reads a message of kind Alarm.
func (m Msg) Alarm() (flight.Alarm, error) { return read[flight.Alarm](m, Alarm) }

// Health reads a message of kind Health.
func (m Msg) Health() (ingest.Health, error) { return read[ingest.Health](m, Health) }

// Tick reads a message of kind Ticks.
func (m Msg) Tick() (Tick, error) { return read[Tick](m, Ticks) }

// State reads a message of kind State.
func (m Msg) State() (flight.State, error) { return read[flight.State](m, State) }
