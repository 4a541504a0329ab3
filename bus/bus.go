package bus

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"

	"github.com/nats-io/nats.go"
)

// Bus is an open bus. All methods are safe for concurrent use.
type Bus struct {
	station string    // whose messages; empty for every station's
	inner   string    // where this process takes samples from
	server  *embedded // nil for another station's
	nc      *nats.Conn
	viewers sync.Map // of *viewer: the live subscriptions
	// viewed counts those of this process by kind: with NumClients it tells for next
	// to nothing that a message is for nobody, which asking for its subject does not.
	viewed map[Kind]*atomic.Int32

	close    sync.Once
	closeErr error
}

// Open starts a station's bus. The caller closes it.
func Open(ctx context.Context, o Options) (*Bus, error) {
	srv, err := startServer(ctx, o)
	if err != nil {
		return nil, err
	}
	b := &Bus{station: o.Station, inner: innerSubject(o.Station), server: srv, viewed: viewedNone()}
	if b.nc, err = srv.connect(o); err != nil {
		srv.stop()
		return nil, fmt.Errorf("open bus: %w", err)
	}
	return b, nil
}

// Dial listens to the bus of a station that runs elsewhere. It connects again by
// itself; what came meanwhile is missed. The caller closes it.
func Dial(r Remote) (*Bus, error) {
	nc, err := Connect(r)
	if err != nil {
		return nil, err
	}
	return &Bus{station: r.Station, nc: nc, viewed: viewedNone()}, nil
}

func viewedNone() map[Kind]*atomic.Int32 {
	m := map[Kind]*atomic.Int32{}
	for _, k := range allKinds() {
		m[k] = &atomic.Int32{}
	}
	return m
}

// Close ends every subscription and stops the server. What was published before
// has reached it.
func (b *Bus) Close() error {
	b.close.Do(func() {
		if err := b.nc.Flush(); err != nil && !errors.Is(err, nats.ErrConnectionClosed) {
			b.closeErr = fmt.Errorf("close bus: %w", err)
		}
		b.nc.Close()
		if b.server != nil {
			b.server.stop()
		}
	})
	return b.closeErr
}

// Addr is where others can connect, as host:port; empty if nowhere.
func (b *Bus) Addr() string {
	if b.server == nil || b.server.opts.DontListen {
		return ""
	}
	return b.server.srv.Addr().String()
}

// Settle waits until every viewer of this bus has been called for what was
// published before. ctx must have an end.
func (b *Bus) Settle(ctx context.Context) error {
	// The server's answer to a ping comes after all that it has sent.
	err := b.nc.FlushWithContext(ctx)
	if err == nil {
		b.viewers.Range(func(v, _ any) bool {
			err = v.(*viewer).settle(ctx)
			return err == nil
		})
	}
	if err != nil {
		return fmt.Errorf("wait for the bus's viewers: %w", err)
	}
	return nil
}
