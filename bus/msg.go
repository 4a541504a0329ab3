package bus

import (
	"encoding/binary"
	"fmt"
	"time"

	"github.com/segmentio/encoding/json"

	"padlark/decode"
	"padlark/flight"
	"padlark/ingest"
)

// Msg is one message of the bus. Data is JSON, but that of a sample within the
// daemon is for Sample alone to read; it belongs to the receiver, who may keep it
// and must not write to it.
type Msg struct {
	Kind    Kind
	Subject string
	Data    []byte

	compact bool
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
}

func read[T any](m Msg, want Kind) (T, error) {
	var v T
	if m.Kind != want {
		return v, fmt.Errorf("read message on %s: it is a %s, not a %s", m.Subject, m.Kind, want)
	}
	if err := json.Unmarshal(m.Data, &v); err != nil {
		return v, fmt.Errorf("read %s message on %s: %w", m.Kind, m.Subject, err)
	}
	return v, nil
}

// Sample reads a message of kind Sample, and the Passed of the sample before it.
// The channels' names come out sorted if it came from another process.
func (m Msg) Sample() (s decode.Sample, after int64, err error) {
	if m.compact && m.Kind == Sample {
		after, n := binary.Varint(m.Data)
		if s, _, err = decode.ReadCompact(m.Data[max(n, 0):]); err != nil {
			return s, 0, fmt.Errorf("read message on %s: %w", m.Subject, err)
		}
		return s, after, nil
	}
	n, err := read[numbered](m, Sample)
	if err != nil {
		return s, 0, err
	}
	if n.Sample == nil {
		return s, 0, fmt.Errorf("read sample message on %s: it is empty", m.Subject)
	}
	return *n.Sample, n.After, nil
}

// Each of these reads a message of its kind.

func (m Msg) Frame() (ingest.Frame, error)    { return read[ingest.Frame](m, Frame) }
func (m Msg) Event() (flight.Event, error)    { return read[flight.Event](m, Event) }
func (m Msg) Alarm() (flight.Alarm, error)    { return read[flight.Alarm](m, Alarm) }
func (m Msg) Standing() (flight.Alarm, error) { return read[flight.Alarm](m, Standing) }
func (m Msg) Health() (ingest.Health, error)  { return read[ingest.Health](m, Health) }
func (m Msg) Tick() (Tick, error)             { return read[Tick](m, Ticks) }
func (m Msg) State() (flight.State, error)    { return read[flight.State](m, State) }
