package bus

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"padlark/ingest"
	"padlark/storage"
	"padlark/storage/batch"
)

const (
	// Stream is the stream of an outside server that takes what stations hear.
	Stream = "PADLARK"
	// AckTimeout is how long a server of a stream may take to answer.
	AckTimeout = 5 * time.Second

	describeEvery = 10 * time.Minute
	payloadSpare  = 4096 // for the headers of a message
)

// errStream is returned when the server's stream is not ours.
var errStream = errors.New("the stream cannot be used")

// UplinkOptions says where a station sends what it hears, and how the stream is
// made if it is not there. One that is there keeps its own limits.
type UplinkOptions struct {
	Remote
	Replicas int
	MaxAge   time.Duration
	MaxBytes int64
}

// Uplink is a station's way to an outside server. It connects when there is
// something to send, so a station starts without the server. It holds nothing: a
// message is sent or is an error, and its sender comes again.
type Uplink struct {
	o  UplinkOptions
	mu sync.Mutex // guards the next two
	nc *nats.Conn
	js jetstream.JetStream
}

// target is the stream on its server.
type target struct {
	jetstream.JetStream
	stream jetstream.Stream
	most   int64 // bytes of a message
}

// NewUplink makes an uplink; the caller closes it. The error is that of options
// that can never work.
func NewUplink(o UplinkOptions) (*Uplink, error) {
	if err := o.check(); err != nil {
		return nil, err
	}
	return &Uplink{o: o}, nil
}

// URL is where it goes, as it may be shown.
func (u *Uplink) URL() string { return redact(u.o.URL) }

// Close gives the connection up.
func (u *Uplink) Close() {
	u.mu.Lock()
	defer u.mu.Unlock()
	if u.nc != nil {
		u.nc.Close()
	}
}

// connect joins the server if that is not so, and finds or makes the stream.
func (u *Uplink) connect(ctx context.Context) (*target, error) {
	u.mu.Lock()
	defer u.mu.Unlock()
	if u.nc == nil || u.nc.IsClosed() {
		nc, err := Connect(u.o.Remote)
		if err != nil {
			return nil, err
		}
		u.nc = nc
		if u.js, err = jetstream.New(nc, jetstream.WithPublishAsyncTimeout(AckTimeout), jetstream.WithDefaultTimeout(AckTimeout)); err != nil {
			return nil, streamError(u.o.URL, err)
		}
	}
	s, err := FindStream(ctx, u.js, u.o.URL)
	if errors.Is(err, jetstream.ErrStreamNotFound) {
		s, err = u.js.CreateStream(ctx, jetstream.StreamConfig{
			Name: Stream, Description: "What padlark stations hear", Subjects: []string{Batches("*")}, Replicas: max(1, u.o.Replicas),
			MaxAge: u.o.MaxAge, MaxBytes: u.o.MaxBytes, Storage: jetstream.FileStorage, Compression: jetstream.S2Compression,
		})
		if err != nil {
			err = streamError(u.o.URL, err)
		}
	}
	if err != nil {
		return nil, err
	}
	return &target{u.js, s, u.nc.MaxPayload() - payloadSpare}, nil
}

// FindStream is the stream of stations on a server.
func FindStream(ctx context.Context, js jetstream.JetStream, url string) (jetstream.Stream, error) {
	s, err := js.Stream(ctx, Stream)
	if err != nil {
		return nil, streamError(url, err)
	}
	if have := s.CachedInfo().Config.Subjects; !slices.Contains(have, Batches("*")) {
		return nil, fmt.Errorf("%w: %s of %s has the subjects %q, not %q: remove or rename it there, or use another account", errStream, Stream, redact(url), have, Batches("*"))
	}
	return s, nil
}

func streamError(url string, err error) error {
	if errors.Is(err, jetstream.ErrStreamNotFound) {
		return fmt.Errorf("no station has sent anything to %s yet: %w", redact(url), err)
	}
	if errors.Is(err, jetstream.ErrJetStreamNotEnabled) || errors.Is(err, jetstream.ErrJetStreamNotEnabledForAccount) || errors.Is(err, nats.ErrNoResponders) {
		return fmt.Errorf("%w: %s has no JetStream (now): enable it there, or wait for its cluster: %w", errStream, redact(url), err)
	}
	return fmt.Errorf("%w: %s of %s: %w", errStream, Stream, redact(url), err)
}

// Batches is the subject of all batches of a station, "*" of every one.
func Batches(station string) string { return subjectRoot + "." + station + ".batch.*" }

// Said sends what people have said of a session's flights, and returns when the
// stream has it. newest tells such messages apart: one that is sent twice is taken
// once.
func (u *Uplink) Said(ctx context.Context, station, session string, voids []batch.Void, newest int64) error {
	ctx, cancel := context.WithTimeout(ctx, 2*AckTimeout)
	defer cancel()
	to, err := u.connect(ctx)
	if err != nil {
		return err
	}
	b := batch.Batch{Station: station, Session: session, Voids: voids}
	b.Put(nil, nil)
	data, err := b.Encode()
	if err != nil {
		return fmt.Errorf("write batch: %w", err)
	}
	subject := subjectRoot + "." + Token(station) + ".batch." + Token(session) + "-said"
	id := fmt.Sprintf("%s/%s/said/%d", station, session, newest)
	if _, err = to.Publish(ctx, subject, data, jetstream.WithMsgID(id), jetstream.WithExpectStream(Stream)); err != nil {
		return fmt.Errorf("send to %s: %w", redact(u.o.URL), err)
	}
	return nil
}

// UplinkSession sends one session. It is used by one goroutine.
type UplinkSession struct {
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
func (u *Uplink) Session(info ingest.CaptureInfo, from int64) *UplinkSession {
	s := &UplinkSession{u: u, from: from, links: map[string]uint16{}}
	s.describe(info)
	return s
}

// Send sends entries of the session's journal, with which it has come to place,
// and returns when the stream has them. After an error it is to be called again
// with the same.
func (s *UplinkSession) Send(ctx context.Context, entries []storage.Entry, place int64) error {
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
func (s *UplinkSession) describe(info ingest.CaptureInfo) {
	s.info, s.described = info, time.Time{}
	for i, l := range info.Links {
		s.links[l.Name] = uint16(i)
	}
}

// End says that the session is over, as batch.Batch does.
func (s *UplinkSession) End(ctx context.Context, place int64, ended time.Duration) error {
	if err := s.ask(ctx); err != nil || s.ended {
		return err
	}
	at := int64(ended)
	return s.publish(ctx, &batch.Batch{End: &at}, nil, max(place, s.place))
}

// ask finds out what the stream has of the session, at the start and after
// whatever went wrong: an answer that was lost, a server that went away.
func (s *UplinkSession) ask(ctx context.Context) error {
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
		return streamError(s.u.o.URL, err)
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

func (s *UplinkSession) subject() string {
	return subjectRoot + "." + Token(s.info.Station) + ".batch." + Token(s.info.Session)
}

// send sends entries in one message, or in several where one would be too long
// for the server.
func (s *UplinkSession) send(ctx context.Context, entries []storage.Entry, place int64) error {
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
func (s *UplinkSession) publish(ctx context.Context, b *batch.Batch, entries []storage.Entry, place int64) error {
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
		return fmt.Errorf("send to %s: %w", redact(s.u.o.URL), err)
	}
	s.seq, s.place, s.ended = ack.Sequence, place, b.End != nil
	if describe {
		s.described = time.Now()
	}
	return nil
}

func (s *UplinkSession) await(ctx context.Context, data []byte, id string) (*jetstream.PubAck, error) {
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
