package uplink

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"padlark/bus"
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

// Options says where a station sends what it hears, and how the stream is
// made if it is not there. One that is there keeps its own limits.
type Options struct {
	bus.Remote
	Replicas int
	MaxAge   time.Duration
	MaxBytes int64
}

// Uplink is a station's way to an outside server. It connects when there is
// something to send, so a station starts without the server. It holds nothing: a
// message is sent or is an error, and its sender comes again.
type Uplink struct {
	o  Options
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

// New makes an uplink; the caller closes it. The error is that of options
// that can never work.
func New(o Options) (*Uplink, error) {
	if err := o.Check(); err != nil {
		return nil, err
	}
	return &Uplink{o: o}, nil
}

// URL is where it goes, as it may be shown.
func (u *Uplink) URL() string { return u.o.Where() }

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
		nc, err := bus.Connect(u.o.Remote)
		if err != nil {
			return nil, err
		}
		u.nc = nc
		if u.js, err = jetstream.New(nc, jetstream.WithPublishAsyncTimeout(AckTimeout), jetstream.WithDefaultTimeout(AckTimeout)); err != nil {
			return nil, streamError(u.o.Remote, err)
		}
	}
	s, err := FindStream(ctx, u.js, u.o.Remote)
	if errors.Is(err, jetstream.ErrStreamNotFound) {
		s, err = u.js.CreateStream(ctx, jetstream.StreamConfig{
			Name: Stream, Description: "What padlark stations hear", Subjects: []string{bus.Batches("*", "*")}, Replicas: max(1, u.o.Replicas),
			MaxAge: u.o.MaxAge, MaxBytes: u.o.MaxBytes, Storage: jetstream.FileStorage, Compression: jetstream.S2Compression,
		})
		if err != nil {
			err = streamError(u.o.Remote, err)
		}
	}
	if err != nil {
		return nil, err
	}
	return &target{u.js, s, u.nc.MaxPayload() - payloadSpare}, nil
}

// FindStream is the stream of stations on a server.
func FindStream(ctx context.Context, js jetstream.JetStream, at bus.Remote) (jetstream.Stream, error) {
	s, err := js.Stream(ctx, Stream)
	if err != nil {
		return nil, streamError(at, err)
	}
	if have := s.CachedInfo().Config.Subjects; !slices.Contains(have, bus.Batches("*", "*")) {
		return nil, fmt.Errorf("%w: %s of %s has the subjects %q, not %q: remove or rename it there, or use another account", errStream, Stream, at.Where(), have, bus.Batches("*", "*"))
	}
	return s, nil
}

func streamError(at bus.Remote, err error) error {
	if errors.Is(err, jetstream.ErrStreamNotFound) {
		return fmt.Errorf("no station has sent anything to %s yet: %w", at.Where(), err)
	}
	if errors.Is(err, jetstream.ErrJetStreamNotEnabled) || errors.Is(err, jetstream.ErrJetStreamNotEnabledForAccount) || errors.Is(err, nats.ErrNoResponders) {
		return fmt.Errorf("%w: %s has no JetStream (now): enable it there, or wait for its cluster: %w", errStream, at.Where(), err)
	}
	return fmt.Errorf("%w: %s of %s: %w", errStream, Stream, at.Where(), err)
}

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
	subject := bus.Batches(station, session) + "-said"
	id := fmt.Sprintf("%s/%s/said/%d", station, session, newest)
	if _, err = to.Publish(ctx, subject, data, jetstream.WithMsgID(id), jetstream.WithExpectStream(Stream)); err != nil {
		return fmt.Errorf("send to %s: %w", u.o.Where(), err)
	}
	return nil
}
