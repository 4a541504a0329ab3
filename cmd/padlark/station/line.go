package station

import (
	"context"
	"time"

	"golang.org/x/sync/errgroup"

	"padlark/ingest"
	"padlark/watch"
)

// healthEvery is how often the links' statistics are published.
const healthEvery = time.Second

// runLine reads every link until ctx ends or all of them have ended, and passes
// every frame that was read through the sequencer.
func (s *station) runLine(ctx context.Context) error {
	if s.links.merge != nil {
		return s.runRecorded(ctx)
	}
	g, gctx := errgroup.WithContext(ctx)
	beside, stopBeside := context.WithCancel(gctx)
	// What was read before the end is passed on after it, but not for ever.
	after, stop := outlasting(ctx, drainTime)
	defer stop()
	g.Go(func() error {
		defer stopBeside()
		return s.links.run(gctx, func(f ingest.Frame) error { return s.seq.live(after, f, s.clock) })
	})
	g.Go(func() error { return s.tick(beside, after) })
	g.Go(func() error { return s.links.flushCapture(beside) })
	g.Go(func() error { return s.publishHealth(beside) })
	return g.Wait()
}

// tick lets time pass while no frame arrives, until ctx ends.
func (s *station) tick(ctx, after context.Context) error {
	t := time.NewTicker(watch.TickEvery)
	defer t.Stop()
	for {
		select {
		case <-t.C:
			if err := s.seq.liveTick(after, s.clock.Now()); err != nil {
				return err
			}
		case <-ctx.Done():
			return nil
		}
	}
}

// outlasting is a context that ends some time after ctx does.
func outlasting(ctx context.Context, by time.Duration) (context.Context, context.CancelFunc) {
	after, cancel := context.WithCancel(context.WithoutCancel(ctx))
	unwatch := context.AfterFunc(ctx, func() {
		select {
		case <-time.After(by):
			cancel()
		case <-after.Done():
		}
	})
	return after, func() {
		unwatch()
		cancel()
	}
}

// runRecorded passes captures through at full speed, on their own time.
func (s *station) runRecorded(ctx context.Context) error {
	batch := make([]ingest.Frame, 0, together)
	err := s.links.run(ctx, func(f ingest.Frame) error {
		s.seq.stamp(&f, s.clock.Now())
		if batch = append(batch, f); len(batch) < cap(batch) {
			return nil
		}
		err := s.seq.pass(ctx, batch)
		batch = batch[:0]
		return err
	})
	if err == nil {
		err = s.seq.pass(ctx, batch)
	}
	if err != nil {
		return err
	}
	return s.seq.tick(ctx, s.clock.Now())
}

// publishHealth tells viewers each second how the links are.
func (s *station) publishHealth(ctx context.Context) error {
	t := time.NewTicker(healthEvery)
	defer t.Stop()
	for {
		for _, h := range s.links.health() {
			// Live only: what nobody could be told is told a second later.
			_ = s.bus.PublishHealth(&h)
		}
		_ = s.out.PublishStanding() // the same
		select {
		case <-ctx.Done():
			return nil
		case <-t.C:
		}
	}
}
