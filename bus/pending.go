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
