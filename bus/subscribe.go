package bus

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"

	"github.com/nats-io/nats.go"
)

// Buffer is how many messages may wait for a viewer. What comes when it is full
// is dropped and counted.
const Buffer = 4096

// Subscribe calls fn for every message of the kinds that is published from now
// on, in the order in which they arrive, until stop is called; stop waits for a
// call under way. No kinds means all. When fn is so slow that Buffer messages
// wait, some are dropped and counted in Counters.Dropped.
func (b *Bus) Subscribe(kinds []Kind, fn func(Msg)) (stop func(), err error) {
	if len(kinds) == 0 {
		kinds = Kinds()
	}
	if err := checkKinds(kinds); err != nil {
		return nil, fmt.Errorf("subscribe: %w", err)
	}
	// One channel for all kinds keeps them in the order of the wire.
	v := &viewer{bus: b, in: make(chan *nats.Msg, Buffer), marks: make(chan chan struct{}), quit: make(chan struct{}), done: make(chan struct{})}
	for _, k := range kinds {
		f := filter(b.station, k)
		if k == Sample && b.server != nil {
			f = b.inner
		}
		s, err := b.nc.ChanSubscribe(f, v.in)
		if err != nil {
			return nil, errors.Join(fmt.Errorf("subscribe to %s: %w", f, err), v.unsubscribe())
		}
		v.subs = append(v.subs, s)
	}
	// The server must know before the caller publishes what it wants to see.
	if err := b.nc.Flush(); err != nil {
		return nil, errors.Join(fmt.Errorf("subscribe: %w", err), v.unsubscribe())
	}
	b.viewers.Store(v, true)
	go v.run(fn)
	return sync.OnceFunc(v.stop), nil
}

// viewer is one live subscription.
type viewer struct {
	bus        *Bus
	in         chan *nats.Msg
	subs       []*nats.Subscription
	marks      chan chan struct{} // to be closed when nothing waits any more
	quit, done chan struct{}
}

func (v *viewer) run(fn func(Msg)) {
	defer close(v.done)
	for {
		select {
		case m := <-v.in:
			v.show(m, fn)
		case reached := <-v.marks:
			for range len(v.in) { // what came before the mark
				v.show(<-v.in, fn)
			}
			close(reached)
		case <-v.quit:
			return
		}
	}
}

func (v *viewer) show(m *nats.Msg, fn func(Msg)) {
	subject, inner := strings.CutPrefix(m.Subject, innerMark)
	fn(Msg{Kind: kindOf(subject), Subject: subject, Data: m.Data, compact: inner})
}

// settle waits until the viewer has been called for all that has arrived.
func (v *viewer) settle(ctx context.Context) error {
	reached := make(chan struct{})
	select {
	case v.marks <- reached:
	case <-v.done:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
	select {
	case <-reached:
		return nil
	case <-v.done:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (v *viewer) stop() {
	// The count must not be lost with the viewer, nor seen twice.
	v.bus.viewers.Delete(v)
	v.bus.count.dropped.Add(v.dropped())
	// An error here means that the connection is gone already.
	_ = v.unsubscribe()
	close(v.quit)
	<-v.done
}

// dropped is how many messages came while the buffer was full.
func (v *viewer) dropped() uint64 {
	total := 0
	for _, s := range v.subs {
		if n, err := s.Dropped(); err == nil {
			total += n
		}
	}
	return uint64(total)
}

func (v *viewer) unsubscribe() error {
	var errs []error
	for _, s := range v.subs {
		errs = append(errs, s.Unsubscribe())
	}
	return errors.Join(errs...)
}
