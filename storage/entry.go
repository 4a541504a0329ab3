package storage

import (
	"fmt"

	"padlark/decode"
	"padlark/flight"
	"padlark/ingest"
)

// Entry is one thing of a session, in the order in which it came about. It is a
// frame together with the sample or the reject that decoding made of it, or an
// event, or a change of an alarm or of the configuration. What an entry points to belongs to whoever
// receives it.
type Entry struct {
	// Seq rises with each entry of a session: in a journal it is where the
	// entry's record ends, in bytes.
	Seq    uint64
	Frame  *ingest.Frame
	Sample *decode.Sample
	// More are the further samples of a frame that holds several readings.
	More   []decode.Sample
	Reject *decode.Rejected
	Event  *flight.Event
	Alarm  *flight.Alarm
	Change *Change
}

// Change is another configuration: it holds for all frames whose Passed is over At.
type Change struct {
	Session string
	At      int64              // ns since the session's epoch
	Info    ingest.CaptureInfo // as it is from here on
}

// Parts are the frame of an entry by itself, and what was made of it.
func (e Entry) Parts() []Entry {
	if e.Frame == nil || e.Sample == nil && e.Reject == nil {
		return []Entry{e}
	}
	return []Entry{{Seq: e.Seq, Frame: e.Frame}, {Seq: e.Seq, Sample: e.Sample, More: e.More, Reject: e.Reject}}
}

// NewEntry makes an entry of a *ingest.Frame, *decode.Sample, *decode.Rejected,
// *flight.Event or *flight.Alarm; anything else is a mistake of the caller, and
// it panics.
func NewEntry(seq uint64, v any) Entry {
	e := Entry{Seq: seq}
	switch v := v.(type) {
	case *ingest.Frame:
		e.Frame = v
	case *decode.Sample:
		e.Sample = v
	case *decode.Rejected:
		e.Reject = v
	case *flight.Event:
		e.Event = v
	case *flight.Alarm:
		e.Alarm = v
	default:
		panic(fmt.Sprintf("storage: %T is no entry", v))
	}
	return e
}
