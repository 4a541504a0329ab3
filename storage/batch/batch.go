// Package batch is the form in which what a station heard goes to others: pieces
// of a session's journal in CBOR (RFC 8949). batch.cddl describes it for programs
// that are not padlark. It does no I/O.
package batch

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/fxamacker/cbor/v2"

	"padlark/flight"
	"padlark/ingest"
	"padlark/storage"
)

// Batch is a piece of a session's journal on its way to an outside server. Its
// form there is described in batch.cddl.
type Batch struct {
	Station string `cbor:"station"`
	Session string `cbor:"session"`
	// From and To are places in the station's journal, in bytes: what stands
	// before the batch, and with it.
	From int64 `cbor:"from"`
	To   int64 `cbor:"to"`
	// Info describes the session, now and then.
	Info *ingest.CaptureInfo `cbor:"info,omitempty"`
	// End says that the session is over, and when, in ns since its epoch; 0 if it
	// was interrupted for good.
	End    *int64  `cbor:"end,omitempty"`
	At     int64   `cbor:"at"`
	Frames []frame `cbor:"frames"`
	Notes  []note  `cbor:"notes"`
	// Voids is what people have said of the session's flights, in a batch of its own
	// that reaches over nothing of the journal.
	Voids []Void `cbor:"voids,omitempty"`
}

// Void says that a flight was none, or that it was one after all.
type Void struct {
	Rocket string    `cbor:"rocket"`
	Flight int       `cbor:"flight"`
	Void   bool      `cbor:"void"`
	At     time.Time `cbor:"at"` // by the session's recorded clock
	Why    string    `cbor:"why"`
}

type frame struct {
	_      struct{} `cbor:",toarray"`
	Link   uint16
	N      uint64
	Passed int64
	Lag    int64
	Wire   int
	RSSI   *float64
	Bytes  []byte
}

type note struct {
	After int           `cbor:"after"`
	Event *flight.Event `cbor:"event,omitempty"`
	Alarm *flight.Alarm `cbor:"alarm,omitempty"`
}

// Put fills the batch with entries of a session with these links, which are
// numbered by their places in its description. What was decoded of frames is left
// out.
func (b *Batch) Put(links map[string]uint16, entries []storage.Entry) {
	b.Frames, b.Notes = make([]frame, 0, len(entries)), []note{}
	for _, e := range entries {
		f := e.Frame
		if e.Change != nil {
			continue // the description tells it
		}
		if f == nil {
			b.Notes = append(b.Notes, note{len(b.Frames), e.Event, e.Alarm})
			continue
		}
		if len(b.Frames) == 0 {
			b.At = f.Passed
		}
		b.Frames = append(b.Frames, frame{
			Link: links[f.Link], N: f.N, Passed: f.Passed - b.At, Lag: f.Passed - f.Mono, Wire: f.Wire, RSSI: f.RSSI, Bytes: f.Bytes,
		})
	}
}

// Entries are the batch's, in their order, with the session's description. They
// share memory with the batch; their Seq is 0.
func (b *Batch) Entries(info *ingest.CaptureInfo) ([]storage.Entry, error) {
	out := make([]storage.Entry, 0, len(b.Frames)+len(b.Notes))
	notes := b.Notes
	for i := range len(b.Frames) + 1 {
		for ; len(notes) > 0 && notes[0].After == i; notes = notes[1:] {
			out = append(out, storage.Entry{Event: notes[0].Event, Alarm: notes[0].Alarm})
		}
		if i == len(b.Frames) {
			break
		}
		k := &b.Frames[i]
		if int(k.Link) >= len(info.Links) {
			return nil, fmt.Errorf("read batch of session %s: frame %d is of link %d, and there are %d", b.Session, i+1, k.Link, len(info.Links))
		}
		l := &info.Links[k.Link]
		passed := b.At + k.Passed
		out = append(out, storage.Entry{Frame: &ingest.Frame{
			Session: b.Session, Link: l.Name, N: k.N, Heard: info.Epoch.Add(time.Duration(passed - k.Lag)), Mono: passed - k.Lag, Passed: passed,
			Wire: k.Wire, Baud: l.Baud, RSSI: k.RSSI, Bytes: k.Bytes,
		}})
	}
	return out, nil
}

// Encode is the batch in CBOR.
func (b *Batch) Encode() ([]byte, error) {
	mode, err := cbor.EncOptions{
		ShortestFloat: cbor.ShortestFloat16, Time: cbor.TimeRFC3339NanoUTC, TimeTag: cbor.EncTagRequired,
	}.EncMode()
	if err != nil {
		return nil, err
	}
	return mode.Marshal(b)
}

// Read reads what stands in a message. It takes nothing on trust: whoever
// may write to the stream may have sent it.
func Read(data []byte) (*Batch, error) {
	mode, err := cbor.DecOptions{MaxNestedLevels: 16, MaxMapPairs: 1024, DupMapKey: cbor.DupMapKeyEnforcedAPF, IndefLength: cbor.IndefLengthForbidden}.DecMode()
	if err != nil {
		return nil, err
	}
	b := &Batch{}
	if err = mode.Unmarshal(data, b); err == nil {
		err = b.check()
	}
	if err != nil {
		return nil, fmt.Errorf("read batch: %w", err)
	}
	return b, nil
}

const nameLetters = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_"

func (b *Batch) check() error {
	// The names become those of files.
	for _, name := range []string{b.Station, b.Session} {
		if strange := strings.Trim(name, nameLetters); name == "" || len(name) > 100 || strange != "" {
			return fmt.Errorf("%q is no name of a station or session", name)
		}
	}
	if b.From < 0 || b.To < b.From {
		return fmt.Errorf("it reaches from %d to %d", b.From, b.To)
	}
	if i := b.Info; i != nil && (i.Station != b.Station || i.Session != b.Session) {
		return errors.New("it is described as one of another session")
	}
	after := 0
	for _, n := range b.Notes {
		if n.After < after || n.After > len(b.Frames) || (n.Event == nil) == (n.Alarm == nil) {
			return errors.New("a note is out of place, or is not one event or one alarm")
		}
		after = n.After
	}
	for _, v := range b.Voids {
		if v.Rocket == "" || len(v.Rocket) > 100 || v.Flight < 1 || len(v.Why) > 1000 || v.At.IsZero() {
			return errors.New("what is said of a flight names none, or no time, or is too long")
		}
	}
	return nil
}
