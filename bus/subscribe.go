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
// is dropped.
const Buffer = 4096

// Subscribe calls fn for every message of the kinds that is published from now
// on, in the order in which they arrive, until stop is called; stop waits for a
// call under way. No kinds means all. When fn is so slow that Buffer messages
// wait, some are dropped.
func (b *Bus) Subscribe(kinds []Kind, fn func(Msg)) (stop func(), err error) {
	if len(kinds) == 0 {
		kinds = allKinds()
	}
	if err := checkKinds(kinds); err != nil {
		return nil, fmt.Errorf("subscribe: %w", err)
	}
	filters := make([]string, len(kinds))
	for i, k := range kinds {
		if filters[i] = filter(b.station, k); k == Sample && b.server != nil {
			filters[i] = b.inner
		}
	}
	for _, k := range kinds { // before the first message can be wanted
		b.viewed[k].Add(1)
	}
	leave := func() {
		for _, k := range kinds {
			b.viewed[k].Add(-1)
		}
	}
	v, err := b.view(filters, fn)
	if err != nil {
		leave()
		return nil, err
	}
	return sync.OnceFunc(func() { v.stop(); leave() }), nil
}

// Take calls fn for every message that others publish on a subject of their own,
// which Options.Publish must name; as Subscribe. lost is how many were dropped.
func (b *Bus) Take(subject string, fn func([]byte)) (stop func(), lost func() int, err error) {
	v, err := b.view([]string{subject}, func(m Msg) { fn(m.Data) })
	if err != nil {
		return nil, nil, err
	}
	return sync.OnceFunc(v.stop), func() int { return int(v.dropped()) }, nil
}

// view starts a viewer. One channel for all subjects keeps them in the order of the
// wire.
func (b *Bus) view(filters []string, fn func(Msg)) (*viewer, error) {
	v := &viewer{bus: b, in: make(chan *nats.Msg, Buffer), marks: make(chan chan struct{}), quit: make(chan struct{}), done: make(chan struct{})}
	for _, f := range filters {
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
	return v, nil
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
	v.bus.viewers.Delete(v)
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
