package sqlite

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"padlark/bus"
	"padlark/flight"
)

// Durable is the name of the archive's place in the stream.
const Durable = "archive"

// How long rows may wait for their commit: while nothing flies, and from a
// liftoff until the touchdown (or inFlightMost, for a rocket that is lost).
// Until then the bus has them, which syncs its file every second. Each commit
// writes anew the pages that it has not filled, so rare commits spare a memory
// card: with five seconds a frame costs a third of the WAL that it costs with
// one. In flight the commit, with its own time, is within 0.2 s.
const (
	commitEvery       = 5 * time.Second
	commitEveryFlying = 150 * time.Millisecond
	inFlightMost      = 15 * time.Minute
	writerBatch       = 4096
)

// source is the part of the bus that a Writer needs.
type source interface {
	Consume(ctx context.Context, c bus.Consumer, h func(context.Context, []bus.Msg) error) error
	WaitConsumed(ctx context.Context, durable string, seq uint64) error
}

// Writer moves messages from the bus into the archive. They are committed
// within five seconds, within 0.2 s while a rocket flies, and at once when an event
// or an alarm comes; they are acknowledged to the bus after the commit. While
// the disk is full or busy they stay in the bus and the writer tries again.
type Writer struct {
	archive *Archive
	bus     source
	hurry   chan struct{}
	once    sync.Once
	resting time.Duration // how long rows may wait while nothing flies

	mu     sync.Mutex
	state  WriterState
	moved  chan struct{} // closed and renewed at each change of state
	flying map[string]time.Time
}

// WriterState is how the writer is.
type WriterState struct {
	Seq     uint64 // stream sequence of the last message committed
	Written uint64 // messages committed
	Commits uint64
	// Trouble is the error of the last attempt, nil if it succeeded; it wraps
	// ErrFull when the disk is full.
	Trouble error
	Since   time.Time // when the trouble began
}

// NewWriter makes a writer; Run does the work.
func NewWriter(a *Archive, b source) *Writer {
	return &Writer{archive: a, bus: b, hurry: make(chan struct{}), resting: commitEvery, moved: make(chan struct{}), flying: map[string]time.Time{}}
}

// Run writes until ctx ends, then returns nil. It returns an error only when it
// makes no sense to try again: the archive is damaged or closed.
func (w *Writer) Run(ctx context.Context) error {
	c := bus.Consumer{
		Durable: Durable, MaxBatch: writerBatch, Wait: w.wait,
		Urgent: []bus.Kind{bus.Event, bus.Alarm}, Hurry: w.hurry, RetryMax: 2 * time.Second,
	}
	if err := w.bus.Consume(ctx, c, w.handle); err != nil {
		return fmt.Errorf("archive: %w", err)
	}
	return nil
}

func (w *Writer) handle(ctx context.Context, msgs []bus.Msg) error {
	err := w.archive.Write(ctx, msgs)
	if ctx.Err() != nil && err != nil {
		return err // interrupted, not in trouble
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	if err != nil {
		if w.state.Trouble == nil {
			w.state.Since = time.Now()
		}
		w.state.Trouble = err
	} else {
		w.state.Trouble, w.state.Since = nil, time.Time{}
		w.state.Seq = max(w.state.Seq, msgs[len(msgs)-1].Seq)
		w.state.Written += uint64(len(msgs))
		w.state.Commits++
		w.follow(msgs)
	}
	close(w.moved)
	w.moved = make(chan struct{})
	if errors.Is(err, ErrDamaged) || errors.Is(err, ErrNotArchive) || errors.Is(err, ErrReadOnly) {
		return fmt.Errorf("%w: %w", bus.ErrStop, err)
	}
	return err
}

// follow notes which rockets fly.
func (w *Writer) follow(msgs []bus.Msg) {
	for _, m := range msgs {
		if m.Kind != bus.Event {
			continue
		}
		e, err := m.Event()
		if err != nil {
			continue // Write has read it, so this does not happen
		}
		switch e.Kind {
		case flight.Liftoff:
			w.flying[e.Rocket] = time.Now()
		case flight.Touchdown:
			delete(w.flying, e.Rocket)
		}
	}
}

// wait is how long the next batch may be gathered.
func (w *Writer) wait() time.Duration {
	w.mu.Lock()
	defer w.mu.Unlock()
	for r, since := range w.flying {
		if time.Since(since) > inFlightMost {
			delete(w.flying, r)
		}
	}
	if len(w.flying) > 0 {
		return commitEveryFlying
	}
	return w.resting
}

// State is how the writer is now; changed is closed when that changes.
func (w *Writer) State() (s WriterState, changed <-chan struct{}) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.state, w.moved
}

// Drain returns when everything up to stream sequence seq is committed and
// acknowledged, and makes the writer commit without waiting from now on. It is
// for the end of a session: flush the bus, drain its LastSeq, then end Run's
// context.
func (w *Writer) Drain(ctx context.Context, seq uint64) error {
	w.once.Do(func() { close(w.hurry) })
	if err := w.bus.WaitConsumed(ctx, Durable, seq); err != nil {
		s, _ := w.State()
		return errors.Join(fmt.Errorf("drain archive: %w", err), s.Trouble)
	}
	return nil
}
