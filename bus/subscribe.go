package bus

import (
	"errors"
	"fmt"
	"sync"

	"github.com/nats-io/nats.go"
)

// liveBuffer is how many messages may wait for a live viewer. What comes when
// it is full is dropped and counted.
const liveBuffer = 2048

// Subscribe calls fn for every message of the kinds that is published from now
// on, in the order in which they arrive, until stop is called; stop waits for a
// call under way. All kinds are allowed, none means all. It is meant for those
// who watch live: when fn is slower than the messages come, some are dropped
// and counted in Counters.LiveDropped. Such messages have no Seq.
func (b *Bus) Subscribe(kinds []Kind, fn func(Msg)) (stop func(), err error) {
	if len(kinds) == 0 {
		kinds = append(Stored(), Live()...)
	}
	if err := checkKinds(kinds, append(Stored(), Live()...)); err != nil {
		return nil, fmt.Errorf("subscribe: %w", err)
	}
	// One channel for all kinds keeps them in the order of the wire.
	ch := make(chan *nats.Msg, liveBuffer)
	subs := make([]*nats.Subscription, 0, len(kinds))
	end := func() error {
		var errs []error
		for _, s := range subs {
			if n, err := s.Dropped(); err == nil {
				b.count.liveDropped.Add(uint64(n))
			}
			errs = append(errs, s.Unsubscribe())
		}
		return errors.Join(errs...)
	}
	for _, f := range filters(b.opts.Station, kinds) {
		s, err := b.nc.ChanSubscribe(f, ch)
		if err != nil {
			return nil, errors.Join(fmt.Errorf("subscribe to %s: %w", f, err), end())
		}
		subs = append(subs, s)
	}
	// The server must know before the caller publishes what it wants to see.
	if err := b.nc.Flush(); err != nil {
		return nil, errors.Join(fmt.Errorf("subscribe: %w", err), end())
	}
	quit, done := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(done)
		for {
			select {
			case m := <-ch:
				fn(Msg{Kind: kindOf(m.Subject), Subject: m.Subject, Data: m.Data})
			case <-quit:
				return
			}
		}
	}()
	var once sync.Once
	return func() {
		once.Do(func() {
			// An error here means that the connection is gone already.
			_ = end()
			close(quit)
			<-done
		})
	}, nil
}
