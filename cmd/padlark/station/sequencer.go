package station

import (
	"context"
	"errors"
	"fmt"
	"time"

	"padlark/bus"
	"padlark/decode"
	"padlark/ingest"
	"padlark/watch"
)

// watcher is the part of the watch that the sequencer needs.
type watcher interface {
	Sample(ctx context.Context, s decode.Sample) error
	Tick(ctx context.Context, mono int64) error
}

// publisher is the part of the bus that the sequencer needs.
type publisher interface {
	PublishFrame(ctx context.Context, f ingest.Frame) error
	PublishSample(ctx context.Context, s decode.Sample) error
	PublishReject(ctx context.Context, r decode.Rejected) error
	PublishTick(t bus.Tick) error
}

// sequencer is the one place through which all frames of a session pass. It
// gives each frame its Passed, publishes it raw, then decodes it, publishes the
// sample and hands it to the watcher. It is used by one goroutine.
type sequencer struct {
	session string
	epoch   time.Time
	out     publisher
	watch   watcher
	decoder *decode.Decoder
	stats   func(link string) decodeCounter // nil in a replay
	heard   func(f *ingest.Frame)           // if not nil, is shown each live frame
	passed  int64                           // of the newest frame
	sampled int64                           // Passed of the newest sample that the watcher was given
	garbage garbage
	// before is how many frames of a link the session had when it was resumed.
	before map[string]uint64
}

// decodeCounter takes what the decoder finds wrong with a link's frames.
type decodeCounter interface {
	AddBad(reason string, f ingest.Frame)
	AddGap(missing uint64)
	AddRefused(field string, f ingest.Frame)
	AddGuest(id uint32)
}

// live stamps a frame that arrived now and passes it on.
func (q *sequencer) live(ctx context.Context, f ingest.Frame, now time.Duration) error {
	// Strictly rising, so that "every sample up to here" has one meaning.
	q.passed = max(q.passed+1, int64(now), f.Mono)
	f.Session = q.session
	f.Passed = q.passed
	f.N += q.before[f.Link]
	if q.heard != nil {
		q.heard(&f)
	}
	if r, drop := q.garbage.drops(q.decoder, &f); drop {
		if q.stats != nil {
			q.stats(f.Link).AddBad(r.Reason, f)
			q.stats(f.Link).AddBad(reasonNotKept, f)
		}
		return nil
	}
	return q.pass(ctx, f)
}

// recorded passes a frame on that already has its Passed.
func (q *sequencer) recorded(ctx context.Context, f ingest.Frame) error {
	q.passed = f.Passed
	return q.pass(ctx, f)
}

func (q *sequencer) pass(ctx context.Context, f ingest.Frame) error {
	if err := q.out.PublishFrame(ctx, f); err != nil {
		return fmt.Errorf("publish frame %d of %s: %w", f.N, f.Link, err)
	}
	return q.decode(ctx, f)
}

// decode turns the frame into a sample, or counts why it is none.
func (q *sequencer) decode(ctx context.Context, f ingest.Frame) error {
	s, err := q.decoder.Decode(f)
	if id, ok := q.decoder.Guest(); ok && q.stats != nil {
		q.stats(f.Link).AddGuest(id)
	}
	var rej *decode.Reject
	switch {
	case errors.As(err, &rej):
		q.garbage.note(&f)
		if q.stats != nil {
			q.stats(f.Link).AddBad(rej.Reason, f)
		}
		r := decode.Rejected{Session: f.Session, Link: f.Link, N: f.N, Reject: *rej}
		if err := q.out.PublishReject(ctx, r); err != nil {
			return fmt.Errorf("publish reject of frame %d of %s: %w", f.N, f.Link, err)
		}
		return nil
	case err != nil:
		return fmt.Errorf("decode frame %d of %s: %w", f.N, f.Link, err)
	}
	if field, _, ok := q.decoder.Refused(); ok && q.stats != nil {
		q.stats(f.Link).AddRefused(field, f)
	}
	if missed := q.decoder.Gap(); missed > 0 && q.stats != nil {
		q.stats(f.Link).AddGap(uint64(missed))
	}
	if err := q.out.PublishSample(ctx, s); err != nil {
		return fmt.Errorf("publish sample %d of %s: %w", f.N, f.Link, err)
	}
	if err := q.watch.Sample(ctx, s); err != nil {
		return fmt.Errorf("watch sample %d of %s: %w", f.N, f.Link, err)
	}
	// Only now: the stop waits until the watcher has had this one.
	q.sampled = f.Passed
	return nil
}

// tick tells the watcher and the subscribers how far time has come while no
// frame arrives.
func (q *sequencer) tick(ctx context.Context, now time.Duration) error {
	// A tick never runs ahead of a frame that has been stamped already, and
	// frames stamped later come after it.
	q.passed = max(q.passed, int64(now))
	if err := q.watch.Tick(ctx, q.passed); err != nil {
		return fmt.Errorf("watch the time: %w", err)
	}
	return q.out.PublishTick(bus.Tick{
		Session: q.session, Epoch: q.epoch, Mono: q.passed, AfterPassed: q.sampled,
	})
}

// runLive passes frames on until the channel is closed; it ticks in between.
func (q *sequencer) runLive(ctx context.Context, in <-chan ingest.Frame, clock ingest.Clock) error {
	ticker := time.NewTicker(watch.TickEvery)
	defer ticker.Stop()
	for {
		select {
		case f, ok := <-in:
			if !ok {
				return q.tick(ctx, clock.Now())
			}
			if err := q.live(ctx, f, clock.Now()); err != nil {
				return err
			}
		case <-ticker.C:
			if err := q.tick(ctx, clock.Now()); err != nil {
				return err
			}
		}
	}
}
