package bus

import (
	"encoding/binary"
	"fmt"

	"github.com/segmentio/encoding/json"

	"padlark/decode"
	"padlark/flight"
	"padlark/ingest"
)

// PublishFrame sends a frame that is in the journal to whoever listens. Like its
// siblings it does not wait for anybody; the error is that of a bus that has been
// closed.
func (b *Bus) PublishFrame(f *ingest.Frame) error { return b.publish(Frame, f.Link, f) }

// PublishSample sends a sample. after is the Passed of the sample that was
// published before it in this session, 0 if it is the first, by which a listener
// knows that it has missed none.
func (b *Bus) PublishSample(s *decode.Sample, after int64) error {
	if b.others() { // this process takes the compact form
		if err := b.publish(Sample, s.Rocket, numbered{s, after}); err != nil {
			return err
		}
	}
	if b.server == nil || b.viewed[Sample].Load() == 0 {
		return nil
	}
	data := s.AppendCompact(binary.AppendVarint(make([]byte, 0, 256), after))
	return b.send(b.inner, data, Sample, s.Rocket)
}

// numbered is a sample that says what stands before it.
type numbered struct {
	*decode.Sample
	After int64 `json:"after_passed_ns"`
}

// PublishState sends the live picture of a rocket, which is asked for only if
// anybody listens.
func (b *Bus) PublishState(rocket string, now func() flight.State) error {
	if !b.wants(State) || !b.listens(subject(b.station, State, rocket)) {
		return nil
	}
	st := now()
	return b.publish(State, rocket, &st)
}

// Each of these sends a message of its kind. An alarm without a rocket (of a link or
// the station) has the subject of the empty name.

func (b *Bus) PublishEvent(e *flight.Event) error    { return b.publish(Event, e.Rocket, e) }
func (b *Bus) PublishAlarm(a *flight.Alarm) error    { return b.publish(Alarm, a.Rocket, a) }
func (b *Bus) PublishStanding(a *flight.Alarm) error { return b.publish(Standing, a.Rocket, a) }
func (b *Bus) PublishHealth(h *ingest.Health) error  { return b.publish(Health, h.Link, h) }
func (b *Bus) PublishTick(t *Tick) error             { return b.publish(Ticks, "", t) }

// publish makes JSON of v if anybody listens.
func (b *Bus) publish(k Kind, name string, v any) error {
	if !b.wants(k) {
		return nil
	}
	subject := subject(b.station, k, name)
	if !b.listens(subject) {
		return nil
	}
	data, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("publish %s of %s: %w", k, name, err)
	}
	return b.send(subject, data, k, name)
}

// others says whether anybody may be there but this process.
func (b *Bus) others() bool { return b.server == nil || b.server.others() }

// wants says whether anybody may want messages of a kind.
func (b *Bus) wants(k Kind) bool { return b.viewed[k].Load() > 0 || b.others() }

// listens says whether somebody may want messages of a subject: of another
// station's server nobody knows.
func (b *Bus) listens(subject string) bool { return b.server == nil || b.server.listens(subject) }

func (b *Bus) send(subject string, data []byte, k Kind, name string) error {
	if err := b.nc.Publish(subject, data); err != nil {
		return fmt.Errorf("publish %s of %s: %w", k, name, err)
	}
	return nil
}
