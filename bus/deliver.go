package bus

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go/jetstream"
)

// deliver gives a batch to the handler until it takes it, then acknowledges.
func (r *reader) deliver(ctx context.Context, batch []jetstream.Msg) error {
	msgs, seqs, err := r.fresh(batch)
	if err != nil {
		return err
	}
	if len(msgs) > 0 {
		if err := r.try(ctx, batch, msgs); err != nil {
			return err
		}
		r.bus.count.handled.Add(uint64(len(msgs)))
		r.last = max(r.last, seqs[len(seqs)-1])
	}
	if r.c.Durable == "" {
		return nil
	}
	for _, s := range seqs {
		r.seen.add(s)
	}
	return r.acknowledge(ctx, batch)
}

// fresh drops what was handled before and puts the rest into our own form.
func (r *reader) fresh(batch []jetstream.Msg) ([]Msg, []uint64, error) {
	msgs := make([]Msg, 0, len(batch))
	seqs := make([]uint64, 0, len(batch))
	for _, m := range batch {
		meta, err := m.Metadata()
		if err != nil {
			return nil, nil, fmt.Errorf("read place of message: %w", err)
		}
		seq := meta.Sequence.Stream
		if meta.NumDelivered > 1 {
			r.bus.count.redelivered.Add(1)
		}
		if r.c.Durable != "" && r.seen.has(seq) {
			continue
		}
		msgs = append(msgs, Msg{Kind: kindOf(m.Subject()), Subject: m.Subject(), Seq: seq, Data: m.Data()})
		seqs = append(seqs, seq)
	}
	return msgs, seqs, nil
}

// try calls the handler until it succeeds, telling the server meanwhile that
// the messages are being worked on.
func (r *reader) try(ctx context.Context, batch []jetstream.Msg, msgs []Msg) error {
	stop := r.keepAlive(ctx, batch)
	defer stop()
	for wait := r.c.RetryMin; ; wait = min(2*wait, r.c.RetryMax) {
		err := r.handle(ctx, msgs)
		if err == nil {
			return nil
		}
		r.bus.count.handlerErrs.Add(1)
		if errors.Is(err, ErrStop) {
			return err
		}
		if !sleep(ctx, wait) {
			return ctx.Err()
		}
	}
}

// keepAlive reports the batch as being worked on three times per AckWait, until
// the function it returns is called.
func (r *reader) keepAlive(ctx context.Context, batch []jetstream.Msg) (stop func()) {
	if r.c.Durable == "" {
		return func() {}
	}
	ctx, cancel := context.WithCancel(ctx)
	done := make(chan struct{})
	go func() {
		defer close(done)
		for sleep(ctx, r.c.AckWait/3) {
			for _, m := range batch {
				// Without it the message merely comes again.
				_ = m.InProgress()
			}
		}
	}()
	return func() { cancel(); <-done }
}

// seen remembers the newest sequences that were handled, to recognise a
// message that is delivered again.
type seen struct {
	ring []uint64
	next int
	set  map[uint64]struct{}
}

func newSeen(size int) *seen {
	return &seen{ring: make([]uint64, size), set: make(map[uint64]struct{}, size)}
}

func (s *seen) has(seq uint64) bool { _, ok := s.set[seq]; return ok }

func (s *seen) add(seq uint64) {
	if s.has(seq) {
		return
	}
	delete(s.set, s.ring[s.next])
	s.ring[s.next] = seq
	s.next = (s.next + 1) % len(s.ring)
	s.set[seq] = struct{}{}
}

// settle is how long a durable consumer must have had nothing to do before that
// is believed: the server counts new messages a moment after storing them.
const settle = 250 * time.Millisecond

// WaitConsumed returns when the durable consumer has acknowledged every message
// of its kinds up to stream sequence seq, or when ctx ends.
func (b *Bus) WaitConsumed(ctx context.Context, durable string, seq uint64) error {
	var idle time.Time // since when it has had nothing to do
	for wait := time.Millisecond; ; wait = min(2*wait, 20*time.Millisecond) {
		cons, err := b.js.Consumer(ctx, b.opts.Stream, durable)
		var at uint64
		switch {
		case errors.Is(err, jetstream.ErrConsumerNotFound): // not started yet
		case err != nil:
			return fmt.Errorf("wait for consumer %s: %w", durable, err)
		default:
			info := cons.CachedInfo()
			if at = info.AckFloor.Stream; at >= seq {
				return nil
			}
			// The message at seq may be of another kind, or gone by age.
			switch {
			case info.NumPending > 0 || info.NumAckPending > 0:
				idle = time.Time{}
			case idle.IsZero():
				idle = time.Now()
			case time.Since(idle) > settle:
				return nil
			}
		}
		if !sleep(ctx, wait) {
			return fmt.Errorf("wait for consumer %s to reach %d, it is at %d: %w", durable, seq, at, ctx.Err())
		}
	}
}
