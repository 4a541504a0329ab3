package bus

import (
	"context"
	"errors"
	"fmt"

	"github.com/nats-io/nats.go/jetstream"
)

// Pending is how many messages of the stream a durable consumer has still to
// acknowledge; everything in the stream if it was never made.
func (b *Bus) Pending(ctx context.Context, durable string) (uint64, error) {
	c, err := b.js.Consumer(ctx, b.opts.Stream, durable)
	if errors.Is(err, jetstream.ErrConsumerNotFound) {
		s, err := b.js.Stream(ctx, b.opts.Stream)
		if err != nil {
			return 0, fmt.Errorf("look at stream %s: %w", b.opts.Stream, err)
		}
		return s.CachedInfo().State.Msgs, nil
	}
	if err != nil {
		return 0, fmt.Errorf("look at consumer %s: %w", durable, err)
	}
	info, err := c.Info(ctx)
	if err != nil {
		return 0, fmt.Errorf("look at consumer %s: %w", durable, err)
	}
	return info.NumPending + uint64(info.NumAckPending), nil
}

// Rewind makes a durable consumer begin again with the oldest message that it
// has not acknowledged. What a crashed daemon had been given is otherwise
// delivered again only after the consumer's AckWait. It must not be called
// while the consumer is being read. Without a consumer it does nothing.
func (b *Bus) Rewind(ctx context.Context, durable string) error {
	c, err := b.js.Consumer(ctx, b.opts.Stream, durable)
	if errors.Is(err, jetstream.ErrConsumerNotFound) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("look at consumer %s: %w", durable, err)
	}
	info := c.CachedInfo()
	if info.NumAckPending == 0 {
		return nil
	}
	cfg := info.Config
	cfg.DeliverPolicy = jetstream.DeliverByStartSequencePolicy
	cfg.OptStartSeq, cfg.OptStartTime = info.AckFloor.Stream+1, nil
	if err := b.js.DeleteConsumer(ctx, b.opts.Stream, durable); err != nil {
		return fmt.Errorf("rewind consumer %s: %w", durable, err)
	}
	if _, err := b.js.CreateConsumer(ctx, b.opts.Stream, cfg); err != nil {
		return fmt.Errorf("rewind consumer %s: %w", durable, err)
	}
	return nil
}
