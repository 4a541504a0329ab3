package bus

import (
	"context"
	"encoding/json"
	"fmt"
	"strconv"

	"padlark/decode"
	"padlark/flight"
	"padlark/ingest"
)

// PublishFrame queues a frame for the stream. Like its siblings it returns as
// soon as the message is queued and waits only when the queue is full; the
// error is ErrClosed, ErrTooLarge or ctx's. Frames and the rest keep the order
// of the calls.
func (b *Bus) PublishFrame(ctx context.Context, f ingest.Frame) error {
	return b.publish(ctx, Frame, f.Link, frameID("f", f.Session, f.Link, f.N), f)
}

// PublishSample queues a sample for the stream.
func (b *Bus) PublishSample(ctx context.Context, s decode.Sample) error {
	return b.publish(ctx, Sample, s.Rocket, frameID("s", s.Session, s.Link, s.N), s)
}

// PublishReject queues the record of a frame that could not be decoded.
func (b *Bus) PublishReject(ctx context.Context, r decode.Rejected) error {
	return b.publish(ctx, Reject, r.Link, frameID("r", r.Session, r.Link, r.N), r)
}

// PublishEvent queues an event for the stream.
func (b *Bus) PublishEvent(ctx context.Context, e flight.Event) error {
	return b.publish(ctx, Event, e.Rocket, "e/"+e.Session+"/"+e.ID, e)
}

// PublishAlarm queues a change of an alarm for the stream. An alarm without a
// rocket (of a link or the station) has the subject of the empty name.
func (b *Bus) PublishAlarm(ctx context.Context, a flight.Alarm) error {
	return b.publish(ctx, Alarm, a.Rocket, "a/"+a.Session+"/"+a.ID+"/"+strconv.Itoa(a.Change), a)
}

// PublishHealth sends a link's statistics to whoever listens now.
func (b *Bus) PublishHealth(h ingest.Health) error { return b.sendLive(Health, h.Link, h) }

// PublishState sends the live picture of a rocket to whoever listens now.
func (b *Bus) PublishState(s flight.State) error { return b.sendLive(State, s.Rocket, s) }

// PublishTick sends a tick to whoever listens now, once everything published
// before it is acknowledged by the stream, with that sequence in Tick.After. It
// never waits: when the queue is full the tick is left out and counted, since a
// later one says the same.
func (b *Bus) PublishTick(t Tick) error { return b.pub.putTick(t) }

func (b *Bus) publish(ctx context.Context, k Kind, name, id string, v any) error {
	data, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("publish %s: %w", k, err)
	}
	if limit := b.nc.MaxPayload(); limit > 0 && int64(len(data)) > limit-headerRoom {
		return fmt.Errorf("publish %s of %s: %w: %d bytes, the server takes %d", k, name, ErrTooLarge, len(data), limit-headerRoom)
	}
	return b.pub.put(ctx, item{subject: Subject(b.opts.Station, k, name), id: headerSafe(id), data: data})
}

// headerRoom is what we leave for the headers within the server's limit.
const headerRoom = 4096

// sendLive sends by core NATS.
func (b *Bus) sendLive(k Kind, name string, v any) error {
	data, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("send %s: %w", k, err)
	}
	if err := b.nc.Publish(Subject(b.opts.Station, k, name), data); err != nil {
		b.count.liveFailed.Add(1)
		return fmt.Errorf("send %s of %s: %w", k, name, err)
	}
	b.count.liveSent.Add(1)
	return nil
}

// sendTick is called by the publisher's goroutine; a tick that cannot be sent
// is counted and the next one stands for it.
func (b *Bus) sendTick(t Tick) { _ = b.sendLive(Ticks, "", t) }

func frameID(kind, session, link string, n uint64) string {
	return kind + "/" + session + "/" + link + "/" + strconv.FormatUint(n, 10)
}

// headerSafe keeps line breaks and other control characters, which a header
// cannot carry, out of a natural key.
func headerSafe(id string) string {
	for i := 0; i < len(id); i++ {
		if id[i] < ' ' || id[i] == 0x7f {
			return strconv.QuoteToASCII(id)
		}
	}
	return id
}
