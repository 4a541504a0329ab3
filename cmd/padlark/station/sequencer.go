package station

import (
	"context"
	"errors"
	"maps"
	"sync"
	"time"

	"padlark/bus"
	"padlark/decode"
	"padlark/ingest"
	"padlark/watch"
)

// watcher is the part of the watch that the sequencer needs.
type watcher interface {
	WaitFor(ctx context.Context, passed, mono int64) error
}

// publisher is the part of the bus that the sequencer needs.
type publisher interface {
	PublishFrame(f *ingest.Frame) error
	PublishSample(s *decode.Sample, after int64) error
	PublishTick(t *bus.Tick) error
}

// recorder is the part of the journal that the sequencer needs.
type recorder interface {
	Frames(frames []ingest.Frame) (written bool)
}

// sequencer is the one place through which all frames of a session pass. It
// gives each frame its Passed, writes it to the journal raw, then publishes it,
// decodes it and publishes the sample, for which the watcher waits.
//
// Of a live line every link brings its frames by itself (live): whoever finds the
// sequencer at rest does the work, and those who come meanwhile leave theirs to
// be written and handed on together. So a frame that comes alone waits for no
// other goroutine. All else is for one goroutine.
type sequencer struct {
	session string
	epoch   time.Time
	journal recorder // nil in a replay
	out     publisher
	watch   watcher
	decoder *decode.Decoder
	stats   func(link string) decodeCounter // nil in a replay
	heard   func(f *ingest.Frame)           // if not nil, is shown each live frame
	passed  int64                           // of the newest frame
	sampled int64                           // Passed of the newest sample that was published
	garbage garbage
	// before is how many frames of a link the session had when it was resumed.
	before map[string]uint64
	// sent is how many samples and ticks went out since mark, which is how far the
	// watcher must be before as many more do.
	sent int
	mark int64

	mu      sync.Mutex
	room    *sync.Cond     // signalled when the queue has been taken; nil before the first frame
	queue   []ingest.Frame // stamped, not passed yet
	spare   []ingest.Frame // the other half of the queue
	stamped int64          // Passed of the newest frame stamped, or time of the newest tick
	busy    bool           // somebody passes frames
	due     time.Duration  // a tick that waits for whoever does, 0 if none does
	failed  error          // nothing more is passed after it
}

// decodeCounter takes what is found wrong with a link's frames.
type decodeCounter interface {
	decode.Counter
	AddDropped(reason string, f ingest.Frame)
}

// stamp gives a frame that arrived now its place in the session.
func (q *sequencer) stamp(f *ingest.Frame, now time.Duration) {
	// Strictly rising, so that "every sample up to here" has one meaning. A frame
	// out of a journal has had its place before.
	if f.Passed <= q.stamped {
		f.Passed = max(q.stamped+1, int64(now), f.Mono)
	}
	q.stamped = f.Passed
	f.Session = q.session
	f.N += q.before[f.Link]
	if q.heard != nil {
		q.heard(f)
	}
}

// pass hands on stamped frames that arrived together.
func (q *sequencer) pass(ctx context.Context, frames []ingest.Frame) error {
	kept := true
	if q.journal != nil { // live
		frames = q.withoutGarbage(frames)
		kept = q.journal.Frames(frames)
	}
	for i := range frames {
		f := &frames[i]
		q.passed = f.Passed
		if kept {
			if err := q.out.PublishFrame(f); err != nil {
				return err
			}
		}
		if err := q.decode(ctx, f); err != nil {
			return err
		}
	}
	return nil
}

// withoutGarbage takes out, in place, what is not worth keeping.
func (q *sequencer) withoutGarbage(frames []ingest.Frame) []ingest.Frame {
	kept := frames[:0]
	for i := range frames {
		f := frames[i]
		r, drop := q.garbage.drops(q.decoder, &f)
		if !drop {
			kept = append(kept, f)
			continue
		}
		if q.stats != nil {
			q.stats(f.Link).AddBad(r.Reason, r.Brief(), f)
			q.stats(f.Link).AddDropped(reasonNotKept, f)
		}
	}
	return kept
}

// decode turns the frame into samples, or counts why it is none.
func (q *sequencer) decode(ctx context.Context, f *ingest.Frame) error {
	var counts decode.Counter
	if q.stats != nil {
		counts = q.stats(f.Link)
	}
	rej, err := q.decoder.Take(f, counts, func(s decode.Sample) error { return q.publish(ctx, &s) })
	if rej != nil {
		q.garbage.note(f)
	}
	return err
}

func (q *sequencer) publish(ctx context.Context, s *decode.Sample) error {
	if err := q.out.PublishSample(s, q.sampled); err != nil {
		return err
	}
	q.sampled = s.Passed
	return q.notTooFar(ctx)
}

// notTooFar waits for the watcher before there is more on the way to it than the
// bus has room for.
func (q *sequencer) notTooFar(ctx context.Context) error {
	if q.sent++; q.sent < watch.Ahead/2 {
		return nil
	}
	mark := q.mark
	q.sent, q.mark = 0, q.sampled
	return q.watch.WaitFor(ctx, mark, 0)
}

// tick tells the watcher and the subscribers how far time has come while no
// frame arrives.
func (q *sequencer) tick(ctx context.Context, now time.Duration) error {
	// A tick never runs ahead of a frame that has been stamped already, and
	// frames stamped later come after it.
	q.passed = max(q.passed, q.stamped, int64(now))
	q.stamped = q.passed
	err := q.out.PublishTick(&bus.Tick{Session: q.session, Epoch: q.epoch, Mono: q.passed, AfterPassed: q.sampled})
	if err != nil {
		return err
	}
	return q.notTooFar(ctx)
}

// together is how many frames may wait to be written and handed on at once; then
// the links wait: nothing is dropped here, a port's own buffer fills up instead.
const together = 256

// live takes a frame that a link has heard. It is safe for concurrent use.
func (q *sequencer) live(ctx context.Context, f ingest.Frame, clock ingest.Clock) error {
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.room == nil {
		q.room = sync.NewCond(&q.mu)
	}
	for q.busy && len(q.queue) >= together {
		q.room.Wait()
	}
	if q.failed != nil {
		return q.failed
	}
	q.stamp(&f, clock.Now())
	q.queue = append(q.queue, f)
	return q.work(ctx)
}

// liveTick is tick for a live line. It is safe for concurrent use.
func (q *sequencer) liveTick(ctx context.Context, now time.Duration) error {
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.failed != nil {
		return q.failed
	}
	q.due = now
	return q.work(ctx)
}

// between does something between two frames of a live line: those that come
// meanwhile wait. at is its place, after all that has passed and before all that
// comes.
func (q *sequencer) between(clock ingest.Clock, do func(at int64) error) error {
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.room == nil {
		q.room = sync.NewCond(&q.mu)
	}
	for q.busy {
		q.room.Wait()
	}
	if q.failed != nil {
		return q.failed
	}
	at := max(q.stamped+1, int64(clock.Now()))
	q.busy, q.stamped = true, at
	q.mu.Unlock()
	err := do(at)
	q.mu.Lock()
	q.busy = false
	return errors.Join(err, q.work(context.Background()))
}

// counted says how many frames of some links have come by receivers that are gone:
// those that come by new ones are numbered on. It is called within between.
func (q *sequencer) counted(frames map[string]uint64) {
	before := map[string]uint64{}
	maps.Copy(before, q.before)
	for link, n := range frames {
		before[link] += n
	}
	q.mu.Lock()
	q.before = before
	q.mu.Unlock()
}

// work passes on what waits, unless somebody does. The caller has the lock, which
// is open meanwhile.
func (q *sequencer) work(ctx context.Context) error {
	if q.busy {
		return nil
	}
	q.busy = true
	for q.failed == nil && (len(q.queue) > 0 || q.due > 0) {
		if len(q.queue) == 0 {
			q.failed, q.due = q.tick(ctx, q.due), 0
			continue
		}
		batch := q.queue
		q.queue, q.spare = q.spare[:0], nil
		if q.room != nil {
			q.room.Broadcast()
		}
		q.mu.Unlock()
		err := q.pass(ctx, batch)
		q.mu.Lock()
		clear(batch) // the frames are not held by it
		q.spare, q.failed = batch[:0], err
	}
	q.busy = false
	if q.room != nil {
		q.room.Broadcast()
	}
	return q.failed
}
