package sqlite

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"padlark/storage"
	"padlark/storage/journal"
)

// How long rows may wait for their commit; until then the journal has them. An
// event or an alarm waits for commitSoon at most, or for commitNews during a flight, so
// that those of a flight share a commit, and what came before a silence for commitIdle.
// A landing, after which people look for the flight, is committed at once, or commitSoon
// after the commit before it. Each commit writes anew the pages that it has not filled,
// so rare commits spare a memory card: the longer nothing has happened, the rarer they
// are.
const (
	commitFirst = 12 * time.Second
	commitNews  = 12 * time.Second
	commitSoon  = 5 * time.Second
	commitLast  = 60 * time.Second
	commitIdle  = 3 * time.Second
	writerBatch = 16384
)

// Writer is the follower that brings a session's journal into the archive. While
// the disk is full or busy what was heard stays in the journal and the writer
// tries again.
type Writer struct {
	archive *Archive
	session string
	follow  *journal.Follower
	hurry   chan struct{}
	once    sync.Once

	mu       sync.Mutex
	happened time.Time // when something was committed that a person may look for
	state    WriterState
	moved    chan struct{} // closed and renewed at each change of state
}

// WriterState is how the writer is.
type WriterState struct {
	Place   int64  // bytes of the journal that are committed
	Written uint64 // entries committed
	Commits uint64
	// Trouble is the error of the last attempt, nil if it succeeded; it wraps
	// ErrFull when the disk is full.
	Trouble error
	Since   time.Time // when the trouble began
}

// NewWriter makes a writer that goes on where the archive is; Run does the work.
// decoder must be a fresh one of the session's configuration.
func NewWriter(ctx context.Context, a *Archive, j *journal.Journal, decoder journal.Decoder) (*Writer, error) {
	session := j.Info().Session
	from, err := a.JournalPlace(ctx, session)
	if err != nil {
		return nil, err
	}
	w := &Writer{archive: a, session: session, hurry: make(chan struct{}), moved: make(chan struct{}), happened: time.Now()}
	w.follow = &journal.Follower{
		Name: "archive", Journal: j, Decoder: decoder, From: from, BatchMost: writerBatch,
		Wait: w.rest, Noted: commitNews, Urgent: commitSoon, Idle: commitIdle, Hurry: w.hurry,
	}
	return w, nil
}

// rest says how long rows may wait for their commit.
func (w *Writer) rest() time.Duration {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.state.Commits == 0 {
		return commitSoon // somebody looks whether it records
	}
	return min(max(time.Since(w.happened)/2, commitFirst), commitLast)
}

// CommitEvery changes how long rows may wait for their commit, for a disk that
// does not wear out. It is called before Run.
func (w *Writer) CommitEvery(d time.Duration) { w.follow.Wait = func() time.Duration { return d } }

// Spare saves it decoding what it has taken, as journal.Follower.Spare.
func (w *Writer) Spare(d journal.Decoder, place int64) { w.follow.Spare(d, place) }

// Run writes until ctx ends, or the journal is closed and all of it is written;
// then it returns nil. It returns an error only when it makes no sense to try
// again: the archive is damaged or closed, or has no room while the session ends.
func (w *Writer) Run(ctx context.Context) error {
	if err := w.follow.Run(ctx, w.handle); err != nil {
		return fmt.Errorf("archive: %w", err)
	}
	return nil
}

func (w *Writer) handle(ctx context.Context, entries []storage.Entry, place int64) error {
	err := w.archive.Follow(ctx, w.session, place, entries)
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
		w.state.Place = place
		w.state.Written += uint64(len(entries))
		w.state.Commits++
		if slices.ContainsFunc(entries, func(e storage.Entry) bool { return e.Event != nil || e.Alarm != nil }) {
			w.happened = time.Now()
		}
	}
	close(w.moved)
	w.moved = make(chan struct{})
	if errors.Is(err, ErrDamaged) || errors.Is(err, ErrNotArchive) || errors.Is(err, errReadOnly) || errors.Is(err, ErrFull) && w.ending() {
		return fmt.Errorf("%w: %w", journal.ErrStop, err)
	}
	return err
}

// ending says whether the session ends: then nobody waits for room on the disk, least
// of all a start that is to go on with a flight.
func (w *Writer) ending() bool {
	select {
	case <-w.hurry:
		return true
	default:
		return false
	}
}

// State is how the writer is now; changed is closed when that changes.
func (w *Writer) State() (s WriterState, changed <-chan struct{}) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.state, w.moved
}

// Drain returns when everything up to a place of the journal is committed, and
// makes the writer commit without waiting from now on. It is for the end of a
// session.
func (w *Writer) Drain(ctx context.Context, place int64) error {
	w.once.Do(func() { close(w.hurry) })
	if err := w.follow.WaitFor(ctx, place); err != nil {
		s, _ := w.State()
		return errors.Join(err, s.Trouble)
	}
	return nil
}
