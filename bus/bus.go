package bus

import (
	"context"
	"errors"
	"fmt"
	"sync"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// Bus is an open bus. All methods are safe for concurrent use.
type Bus struct {
	opts    Options
	server  *embedded // nil for an outside server
	nc      *nats.Conn
	js      jetstream.JetStream
	pub     *publisher
	sync    *syncer // nil if the server syncs by itself
	count   counters
	viewers sync.Map // of *viewer: the live subscriptions

	close    sync.Once
	closeErr error
}

// Open starts the embedded server, or joins the outside one, makes the stream
// if it is not there and gets ready to publish. The caller closes the bus. ctx
// bounds the opening only.
func Open(ctx context.Context, o Options) (*Bus, error) {
	if err := o.validate(); err != nil {
		return nil, err
	}
	o.setDefaults()
	b := &Bus{opts: o}
	if err := b.start(ctx); err != nil {
		if b.nc != nil {
			b.nc.Close()
		}
		return nil, errors.Join(err, b.server.stop())
	}
	return b, nil
}

func (b *Bus) start(ctx context.Context) error {
	var err error
	if b.opts.embedded() {
		if b.server, err = startServer(ctx, b.opts); err != nil {
			return err
		}
	}
	lost := make(chan struct{}, 1)
	onDown := func(err error) {
		b.count.disconnects.Add(1)
		select {
		case lost <- struct{}{}:
		default:
		}
		if err != nil {
			b.opts.Log.Warn().Err(err).Msg("bus connection lost; messages wait until it is back")
		}
	}
	onUp := func() { b.opts.Log.Info().Msg("bus connection is back") }
	if b.nc, err = connect(b.opts, b.server, onDown, onUp); err != nil {
		return err
	}
	if b.opts.Domain != "" && b.server == nil {
		b.js, err = jetstream.NewWithDomain(b.nc, b.opts.Domain)
	} else {
		b.js, err = jetstream.New(b.nc)
	}
	if err != nil {
		return fmt.Errorf("open bus: %w", err)
	}
	stream, err := ensureStream(ctx, b.js, b.opts)
	if err != nil {
		return err
	}
	if err := b.server.syncMeta(); err != nil {
		return err
	}
	last, id, err := lastMessage(ctx, stream)
	if err != nil {
		return fmt.Errorf("open bus: %w", err)
	}
	if err := b.boundPlaces(last); err != nil {
		return fmt.Errorf("open bus: %w", err)
	}
	if b.pub, err = newPublisher(b, last, id, lost); err != nil {
		return err
	}
	b.sync = startSyncer(b)
	return nil
}

// Close sends what is still queued, for at most Options.CloseTimeout, then
// closes the connection and stops the embedded server. Consumers must have
// returned before. The error says how many messages were not acknowledged.
func (b *Bus) Close() error {
	b.close.Do(func() {
		err := b.pub.stop(b.opts.CloseTimeout)
		err = errors.Join(err, b.keepPlaces())
		b.nc.Close()
		err = errors.Join(err, b.server.stop())
		b.sync.stop() // after the last write
		b.closeErr = err
	})
	return b.closeErr
}

// Station is the name of the station whose bus this is.
func (b *Bus) Station() string { return b.opts.Station }

// Addr is where the embedded server listens, as host:port; empty if it does not.
func (b *Bus) Addr() string {
	if b.server == nil || b.opts.Listen == "" {
		return ""
	}
	return b.server.srv.Addr().String()
}

// LastSeq is the stream sequence of the last message that the stream has
// acknowledged to this bus, or that stood last in it when the bus was opened.
func (b *Bus) LastSeq() uint64 { return b.pub.base.Load() }

// Flush returns when everything published before the call is acknowledged by
// the stream.
func (b *Bus) Flush(ctx context.Context) error { return b.pub.flush(ctx) }

// Settle waits as Flush does, and then until every live viewer of this bus has
// been called for what came before. ctx must have an end.
func (b *Bus) Settle(ctx context.Context) error {
	if err := b.Flush(ctx); err != nil {
		return err
	}
	// The server hands a message to the stream and to the viewers before it reads
	// on, but the stream may be the quicker. Its answer to a ping comes after both.
	err := b.nc.FlushWithContext(ctx)
	if err != nil {
		return fmt.Errorf("wait for the bus's viewers: %w", err)
	}
	b.viewers.Range(func(v, _ any) bool {
		err = v.(*viewer).settle(ctx)
		return err == nil
	})
	if err != nil {
		return fmt.Errorf("wait for the bus's viewers: %w", err)
	}
	return nil
}
