package journal

import (
	"context"
	"errors"
	"fmt"
	"io"
	"sync"
	"time"

	"padlark/storage"
)

// ErrStop makes a follower return when its handler's error wraps it, instead of
// handing the same batch over again.
var ErrStop = errors.New("follower stops")

// Defaults of a Follower.
const (
	batchMost  = 4096
	gatherMost = 512 << 10 // bytes of the journal that are gathered
	retryMin   = 50 * time.Millisecond
	retryMax   = 2 * time.Second
	never      = int64(1) << 62 // a place that no journal comes to
)

// Follower reads a running journal from a place of its own.
type Follower struct {
	// Name is what it is called in errors.
	Name string
	// Journal is what it follows.
	Journal *Journal
	// Decoder is a fresh one for the journal's configuration; nil if frames are
	// not to be decoded.
	Decoder Decoder
	// From is the place that it had before, in bytes; what ends there or before is
	// decoded and not handed over again.
	From int64
	// Learnt, if over 0, is a place that is not behind From: the decoder has had what
	// ends there or before, which then is not read again.
	Learnt int64
	// Wait is asked for each batch how long it may be gathered; nil hands over at
	// once. Where Noted is over 0 the gathering ends so long after a note (an event or
	// an alarm), or Urgent after one that no flight brought about which was under way,
	// or with a landing once it has taken Urgent; where Idle is over 0, after such a
	// silence.
	Wait   func() time.Duration
	Noted  time.Duration
	Urgent time.Duration
	Idle   time.Duration
	// Hurry ends the gathering while it can be received from; once it is closed
	// there is no more gathering.
	Hurry <-chan struct{}
	// BatchMost is how many entries a batch has at most.
	BatchMost int
	// RetryMax bounds the back-off after a handler that fails.
	RetryMax time.Duration

	batch []storage.Entry

	mu      sync.Mutex // guards the rest
	place   int64      // what ends there or before has been taken
	ended   bool       // Run has returned
	waiters waiters
}

// Spare saves the follower the decoding of what it has taken: d has had what ends
// at a place or before. It is not used where the follower is not so far. It is
// called before Run.
func (f *Follower) Spare(d Decoder, place int64) {
	if place <= f.From {
		f.Decoder, f.Learnt = d, place
	}
}

// Run reads until ctx ends, or the journal has been closed and read to its end,
// and gives h the entries in batches; then it returns nil. Nothing is handed
// over that is not on the disk, so that no follower can be further than a
// journal that a power cut has shortened. When h fails it gets the same batch
// again after a back-off; only if the error wraps ErrStop does Run return it.
// place is what to keep: everything that ends there or before has been taken
// with this batch. The batch belongs to h until it returns, what its entries
// point to for good.
func (f *Follower) Run(ctx context.Context, h func(ctx context.Context, batch []storage.Entry, place int64) error) error {
	if f.BatchMost == 0 {
		f.BatchMost = batchMost
	}
	if f.RetryMax == 0 {
		f.RetryMax = retryMax
	}
	defer func() { f.move(f.Place(), true) }()
	// On a full disk not even the header may be there yet.
	if f.Journal.await(ctx, 1, never, nil, nil) == 0 {
		return nil
	}
	r, err := Open(f.Journal.Path(), f.Decoder)
	if err != nil {
		return err
	}
	defer r.Close()                     //nolint:errcheck // it was only read from
	f.move(max(f.From, r.Pos()), false) // nothing of the header is left to take
	if f.Learnt > 0 {
		if err := r.GoOnFrom(f.Learnt, f.Journal.Info()); err != nil {
			return err
		}
	}
	for {
		end, err := f.gather(ctx, r.Pos())
		if ctx.Err() != nil {
			return nil
		}
		if err != nil { // a disk that does not sync; whoever runs the journal tells it
			if !pause(ctx, f.RetryMax) {
				return nil
			}
			continue
		}
		if end == r.Pos() {
			return nil // closed, and read to the end
		}
		if err := f.read(ctx, r, end, h); err != nil {
			return err
		}
	}
}

// gather waits until there is something behind pos, and then until it is time
// to hand it over. It returns up to where the journal is on the disk.
func (f *Follower) gather(ctx context.Context, pos int64) (end int64, err error) {
	j := f.Journal
	end = j.await(ctx, pos+1, never, nil, nil)
	if end > pos && f.Wait != nil {
		end = f.linger(ctx, pos, end)
	}
	return end, j.Sync()
}

// linger waits for more.
func (f *Follower) linger(ctx context.Context, pos, end int64) int64 {
	note := never
	if f.Noted > 0 {
		note = pos
	}
	began, due := time.Now(), f.Wait()
	for left := due; left > 0; left = due - time.Since(began) {
		slice := left
		if f.Idle > 0 {
			slice = min(left, f.Idle)
		}
		t := time.NewTimer(slice)
		before, from := end, time.Now()
		end = f.Journal.await(ctx, pos+gatherMost, note, t.C, f.Hurry)
		t.Stop()
		noted, soon, landed := f.Journal.notes()
		switch {
		case noted > note:
			note, due = noted, min(due, time.Since(began)+f.Noted)
			if soon > pos {
				due = min(due, time.Since(began)+f.Urgent)
			}
			if landed > pos {
				due = min(due, f.Urgent)
			}
		case end == before || time.Since(from) < slice:
			return end // silence, or it was let go before its time
		}
	}
	return end
}

// read hands over what lies between the reader and end.
func (f *Follower) read(ctx context.Context, r *Reader, end int64, h func(context.Context, []storage.Entry, int64) error) error {
	r.c.GoOn(io.NewSectionReader(f.Journal.reader(), r.Pos(), end-r.Pos()), r.Pos())
	for {
		e, err := r.Next()
		last := errors.Is(err, io.EOF)
		if err != nil && !last {
			return fmt.Errorf("%s: %w", f.Name, err)
		}
		if !last && int64(e.Seq) > f.From {
			f.batch = append(f.batch, e)
		}
		if last || len(f.batch) >= f.BatchMost {
			if err := f.hand(ctx, r.Pos(), h); err != nil || ctx.Err() != nil {
				return err
			}
		}
		if last {
			return nil
		}
	}
}

// hand gives the batch over until it is taken.
func (f *Follower) hand(ctx context.Context, place int64, h func(context.Context, []storage.Entry, int64) error) error {
	for wait := retryMin; len(f.batch) > 0; wait = min(2*wait, f.RetryMax) {
		err := h(ctx, f.batch, place)
		if err == nil {
			break
		}
		if errors.Is(err, ErrStop) {
			return err
		}
		if !pause(ctx, wait) {
			return nil
		}
	}
	clear(f.batch)
	f.batch = f.batch[:0]
	if place > f.From {
		f.move(place, false)
	}
	return nil
}

// pause waits; false if ctx ends before.
func pause(ctx context.Context, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return true
	case <-ctx.Done():
		return false
	}
}

// reader is the journal's file as it is now.
func (j *Journal) reader() io.ReaderAt {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.f
}
