package station

import (
	"context"
	"time"

	"golang.org/x/sync/errgroup"

	"padlark/ingest"
)

// frameQueue is how many frames may wait for the sequencer before the links
// wait in turn: nothing is dropped here, a port's own buffer fills up instead.
const frameQueue = 256

// healthEvery is how often the links' statistics are published.
const healthEvery = time.Second

// runLine reads every link until ctx ends or all of them have ended, and passes
// every frame that was read through the sequencer.
func (s *station) runLine(ctx context.Context) error {
	if s.links.merge != nil {
		return s.runRecorded(ctx)
	}
	frames := make(chan ingest.Frame, frameQueue)
	g, gctx := errgroup.WithContext(ctx)
	linksCtx, stopBeside := context.WithCancel(gctx)
	passed := make(chan struct{})
	g.Go(func() error {
		defer stopBeside()
		defer close(frames)
		return s.links.run(gctx, func(f ingest.Frame) error {
			select {
			case frames <- f:
				return nil
			case <-passed: // the sequencer has failed
				return context.Canceled
			}
		})
	})
	g.Go(func() error {
		defer close(passed)
		// What was read before the end is passed on after it, but not for ever: a
		// bus without a byte of room takes nothing.
		after, stop := outlasting(ctx, drainTime)
		defer stop()
		return s.seq.runLive(after, frames, s.clock)
	})
	g.Go(func() error { return s.links.flushCapture(linksCtx) })
	g.Go(func() error { return s.publishHealth(linksCtx) })
	return g.Wait()
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
	err := s.links.run(ctx, func(f ingest.Frame) error { return s.seq.live(ctx, f, s.clock.Now()) })
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
			_ = s.bus.PublishHealth(h)
		}
		select {
		case <-ctx.Done():
			return nil
		case <-t.C:
		}
	}
}
