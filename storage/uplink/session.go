package uplink

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"padlark/bus"
	"padlark/ingest"
	"padlark/storage"
	"padlark/storage/batch"
)

// Session sends one session. It is used by one goroutine.
type Session struct {
	u     *Uplink
	info  ingest.CaptureInfo
	links map[string]uint16
	from  int64 // up to where the caller has had it sent

	to        *target // nil while it must be asked how far the stream is
	seq       uint64  // of the session's last message in the stream
	place     int64   // of the journal that the stream has
	ended     bool
	described time.Time
}

// Session begins to send a session, or goes on with it from a place of its
// journal.
func (u *Uplink) Session(info ingest.CaptureInfo, from int64) *Session {
	s := &Session{u: u, from: from, links: map[string]uint16{}}
	s.describe(info)
	return s
}

// Send sends entries of the session's journal, with which it has come to place,
// and returns when the stream has them. After an error it is to be called again
// with the same.
func (s *Session) Send(ctx context.Context, entries []storage.Entry, place int64) error {
	if err := s.ask(ctx); err != nil {
		return err
	}
	// What the stream has already: the place kept here may be older than it.
	for len(entries) > 0 && int64(entries[0].Seq) <= s.place {
		entries = entries[1:]
	}
	// What follows a change of the configuration is described by another text.
	for i := range entries {
		if c := entries[i].Change; c != nil {
			if i > 0 {
				if err := s.send(ctx, entries[:i], int64(entries[i-1].Seq)); err != nil {
					return err
				}
			}
			s.describe(c.Info)
			return s.Send(ctx, entries[i+1:], place)
		}
	}
	if len(entries) > 0 {
		if err := s.send(ctx, entries, place); err != nil {
			return err
		}
	}
	s.from = place
	return nil
}

// describe has the next message tell what the session is now.
func (s *Session) describe(info ingest.CaptureInfo) {
	s.info, s.described = info, time.Time{}
	for i, l := range info.Links {
		s.links[l.Name] = uint16(i)
	}
}

// End says that the session is over, as batch.Batch does.
func (s *Session) End(ctx context.Context, place int64, ended time.Duration) error {
	if err := s.ask(ctx); err != nil || s.ended {
		return err
	}
	at := int64(ended)
	return s.publish(ctx, &batch.Batch{End: &at}, nil, max(place, s.place))
}

// ask finds out what the stream has of the session, at the start and after
// whatever went wrong: an answer that was lost, a server that went away.
func (s *Session) ask(ctx context.Context) error {
	if s.to != nil {
		return nil
	}
	ctx, cancel := context.WithTimeout(ctx, 2*AckTimeout) // what a lost connection took with it is not answered
	defer cancel()
	to, err := s.u.connect(ctx)
	if err != nil {
		return err
	}
	s.seq, s.place, s.ended = 0, s.from, false
	last, err := to.stream.GetLastMsgForSubject(ctx, s.subject())
	switch {
	case errors.Is(err, jetstream.ErrMsgNotFound):
		s.described = time.Time{} // nothing is there, or no longer
	case err != nil:
		return streamError(s.u.o.Remote, err)
	default:
		b, err := batch.Read(last.Data)
		if err != nil {
			return fmt.Errorf("%w: message %d of %s is not padlark's: %w", errStream, last.Sequence, Stream, err)
		}
		s.seq, s.place, s.ended = last.Sequence, b.To, b.End != nil
	}
	s.to = to
	return nil
}

func (s *Session) subject() string {
	return bus.Batches(s.info.Station, s.info.Session)
}

// send sends entries in one message, or in several where one would be too long
// for the server.
func (s *Session) send(ctx context.Context, entries []storage.Entry, place int64) error {
	err := s.publish(ctx, &batch.Batch{}, entries, place)
	if half := len(entries) / 2; errors.Is(err, nats.ErrMaxPayload) && half > 0 {
		if err = s.send(ctx, entries[:half], int64(entries[half-1].Seq)); err == nil {
			err = s.send(ctx, entries[half:], place)
		}
	}
	return err
}

// publish puts one message into the stream behind the session's last one, or not
// at all: the server refuses it if something else stands there, so that nothing
// is twice in the stream whatever became of an earlier attempt. For the same
// reason there is one message on its way at a time; it holds thousands of frames.
func (s *Session) publish(ctx context.Context, b *batch.Batch, entries []storage.Entry, place int64) error {
	b.Station, b.Session, b.From, b.To = s.info.Station, s.info.Session, s.place, place
	b.Put(s.links, entries)
	describe := time.Since(s.described) > describeEvery
	if describe {
		b.Info = &s.info
	}
	data, err := b.Encode()
	if err != nil {
		return fmt.Errorf("write batch: %w", err)
	}
	if int64(len(data)) > s.to.most {
		return fmt.Errorf("send %d bytes: %w", len(data), nats.ErrMaxPayload)
	}
	id := fmt.Sprintf("%s/%s/%d", b.Station, b.Session, place)
	if b.End != nil {
		id += "/end"
	}
	ack, err := s.await(ctx, data, id)
	if err != nil {
		s.to = nil
		return fmt.Errorf("send to %s: %w", s.u.o.Where(), err)
	}
	s.seq, s.place, s.ended = ack.Sequence, place, b.End != nil
	if describe {
		s.described = time.Now()
	}
	return nil
}

func (s *Session) await(ctx context.Context, data []byte, id string) (*jetstream.PubAck, error) {
	f, err := s.to.PublishAsync(s.subject(), data, jetstream.WithMsgID(id), jetstream.WithExpectStream(Stream), jetstream.WithExpectLastSequencePerSubject(s.seq))
	if err != nil {
		return nil, err
	}
	select {
	case ack := <-f.Ok():
		return ack, nil
	case err := <-f.Err():
		return nil, err
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}
