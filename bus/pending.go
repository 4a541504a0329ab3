package bus

import (
	"context"
	"errors"
	"fmt"

	"github.com/nats-io/nats.go/jetstream"
)

// Pending is how many messages of the stream a durable consumer has still to
// acknowledge; everything in the stream if it was never made. Before it is read
// for the first time after a start, messages of other kinds count as well.
func (b *Bus) Pending(ctx context.Context, durable string) (uint64, error) {
	c, err := b.js.Consumer(ctx, b.opts.Stream, durable)
	if errors.Is(err, jetstream.ErrConsumerNotFound) {
		s, err := b.js.Stream(ctx, b.opts.Stream)
		if err != nil {
			return 0, fmt.Errorf("look at stream %s: %w", b.opts.Stream, err)
		}
		place, err := b.loadPlace(durable)
		if err != nil {
			return 0, err
		}
		state := s.CachedInfo().State
		return min(state.Msgs, state.LastSeq-min(place, state.LastSeq)), nil
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
	if err := b.moveConsumer(ctx, info.Config, info.AckFloor.Stream); err != nil {
		return fmt.Errorf("rewind consumer %s: %w", durable, err)
	}
	return nil
}

// moveConsumer makes a consumer anew that goes on after a place.
func (b *Bus) moveConsumer(ctx context.Context, cfg jetstream.ConsumerConfig, place uint64) error {
	startAfter(&cfg, place)
	cfg.MemoryStorage = b.opts.ownPlaces()
	if cfg.MemoryStorage {
		// First, so that a crash in between finds it.
		if err := b.savePlace(cfg.Durable, place); err != nil {
			return err
		}
	}
	if err := b.js.DeleteConsumer(ctx, b.opts.Stream, cfg.Durable); err != nil {
		return err
	}
	_, err := b.js.CreateConsumer(ctx, b.opts.Stream, cfg)
	return err
}
