package influx

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"

	"padlark/flight"
	"padlark/flight/phrase"
	"padlark/storage"
	"padlark/storage/journal"
	"padlark/storage/sqlite"
)

const (
	// gatherTime is how long samples are gathered for one request. Nobody reads a
	// dashboard faster, and it spares a mobile uplink.
	gatherTime = time.Second
	// batchMost bounds the entries of a batch, which are kept in memory.
	batchMost = 1024
	// placeEvery is how often it is noted at most how far the journal has been
	// sent. What came after that is sent again if the program is killed.
	placeEvery = 30 * time.Second
)

// Alarms is where the copy's alarms are raised, which belong to the session; one
// that is active stays as it is.
type Alarms interface {
	Raise(kind string, p flight.Priority, say, reason phrase.Phrase)
	Clear(kind string, say phrase.Phrase)
}

// Running is what the writer needs of the session that runs.
type Running struct {
	Journal *journal.Journal
	// Decoder is a fresh one for the session's configuration.
	Decoder journal.Decoder
	Archive *sqlite.Archive
	// Archived returns when all of the journal up to a place is in the archive;
	// it is asked at the end of the session.
	Archived func(ctx context.Context, place int64) error
	Alarms   Alarms
	// Flights works out the session's results; nil sends none.
	Flights Flights
}

// Writer moves samples, events and alarms from the journal to the server while
// the station runs. See the package's comment for what it promises.
type Writer struct {
	*copier
	run     Running
	current string // the session that runs now
	follow  *journal.Follower
	hurry   chan struct{} // closed at the end: nothing is gathered any more

	landed    chan struct{} // a touchdown was sent
	settle    time.Duration // from a touchdown to the results of its flight
	lookAgain time.Duration // for what people say of earlier flights
	every     time.Duration // how often its place is noted at most

	// Owned by handle, and by Run after it.
	part partly    // how far the batch under way has come
	mark mark      // what is noted about the session
	kept time.Time // when it was
	sent bool      // points of the session may be on the server

	rejectedTold bool // that lines were set aside; handle's

	mu    sync.Mutex
	state State
}

// State is how the writer is.
type State struct {
	Counts
	Place int64 // bytes of the journal that the server has taken
	Left  int64 // bytes of the journal that are still to be sent
	// Trouble says why the server takes nothing at present; empty if it does.
	Trouble string
	Since   time.Time // when the trouble began
	LastOK  time.Time // when the server last took something
}

// partly is how much of a batch has been sent, so that a second try does not
// begin at its start.
type partly struct {
	place int64 // of the batch
	lines int
}

// NewWriter makes a writer that goes on where the session's last one on the same
// server was, and notes that the session is to be sent; Run does the work.
func NewWriter(ctx context.Context, o Options, r Running) (*Writer, error) {
	c, err := newCopier(o, r.Archive, r.Flights)
	if err != nil {
		return nil, err
	}
	w := &Writer{
		copier: c, run: r, current: r.Journal.Info().Session, hurry: make(chan struct{}),
		landed: make(chan struct{}, 1), settle: settleTime, lookAgain: lookEvery, every: placeEvery,
	}
	if w.mark, w.sent, err = c.marks.load(w.current); err != nil {
		return nil, err
	}
	// Events are not urgent here: the board shows them, this is for later.
	w.follow = &journal.Follower{
		Name: "copy to the time-series server", Journal: r.Journal, Decoder: r.Decoder, From: w.mark.Place,
		Wait: func() time.Duration { return c.opt.gather }, Hurry: w.hurry, BatchMost: batchMost, RetryMax: c.opt.RetryMax,
	}
	if _, err := w.prepare(ctx); err != nil {
		// A full disk must not keep a station from starting; each batch tries again.
		c.opt.Log.Warn().Err(err).Msg("the copy to the time-series server cannot begin yet")
	}
	return w, nil
}

// State is how the writer is now.
func (w *Writer) State() State {
	n, place := w.sender.counts(), w.follow.Place()
	left := w.run.Journal.State().End - place
	w.mu.Lock()
	defer w.mu.Unlock()
	s := w.state
	s.Counts, s.Place, s.Left = n, place, left
	return s
}

// RejectedPath is the file of the points that the server refused for good.
func (w *Writer) RejectedPath() string { return w.sender.rejected.path() }

// Spare saves it decoding what it has taken, as journal.Follower.Spare.
func (w *Writer) Spare(d journal.Decoder, place int64) { w.follow.Spare(d, place) }

// Run writes until ctx ends; then it goes on for at most Options.CloseTime to
// send what is left and the results of the session, and returns nil. The journal
// must not be released, nor the archive be closed, before it has returned. An
// error means that the journal cannot be read.
func (w *Writer) Run(ctx context.Context) error {
	defer w.server.close()
	work, stop := context.WithCancel(context.WithoutCancel(ctx))
	defer stop()
	followed := make(chan struct{})
	g, running := errgroup.WithContext(ctx)
	g.Go(func() error {
		defer close(followed)
		return w.follow.Run(work, w.handle)
	})
	g.Go(func() error {
		w.completeAll(running)
		return nil
	})
	<-running.Done()
	closing, cancel := context.WithTimeout(context.WithoutCancel(ctx), w.opt.CloseTime)
	defer cancel()
	end := w.run.Journal.State().End
	drained := w.drain(closing, followed)
	stop()
	if err := g.Wait(); err != nil {
		return fmt.Errorf("copy to the time-series server: %w", err)
	}
	w.finish(closing, drained, end)
	return nil
}

// handle sends one batch.
func (w *Writer) handle(ctx context.Context, entries []storage.Entry, place int64) error {
	err := w.batch(ctx, entries, place)
	if err == nil || ctx.Err() != nil {
		return err // done, or interrupted, which is no trouble
	}
	w.failed(err)
	pause := w.opt.RetryMin
	var f *failure
	if errors.As(err, &f) {
		pause = max(pause, f.pause())
	}
	sleep(ctx, pause)
	return err
}

func (w *Writer) batch(ctx context.Context, entries []storage.Entry, place int64) error {
	shift, err := w.prepare(ctx)
	if err != nil {
		return err
	}
	b, landed := w.encode(entries, shift)
	if w.part.place != place {
		w.part = partly{place: place}
	}
	w.sent = true
	if w.part.lines, err = w.sender.send(ctx, b, min(w.part.lines, b.len())); err != nil {
		return err
	}
	w.worked()
	w.tellRejected()
	if landed {
		select {
		case w.landed <- struct{}{}:
		default: // it is known already
		}
	}
	return nil
}

// encode writes the lines of a batch, and says whether a rocket has landed.
func (w *Writer) encode(entries []storage.Entry, shift time.Duration) (b *block, landed bool) {
	b = &block{}
	for i := range entries {
		switch e := &entries[i]; {
		case e.Sample != nil:
			b.take(appendSample(b.buf, w.opt.Station, e.Sample, shift))
			for k := range e.More {
				b.take(appendSample(b.buf, w.opt.Station, &e.More[k], shift))
			}
		case e.Event != nil:
			landed = landed || e.Event.Kind == flight.Touchdown
			b.take(appendEvent(b.buf, w.opt.Station, e.Event, shift))
		case e.Alarm != nil:
			b.take(appendAlarm(b.buf, w.opt.Station, e.Alarm, shift))
		}
	}
	return b, landed
}

// prepare looks up the session's time shift, which may become known while it
// runs, and notes what is about to be sent, so that it is never forgotten.
func (w *Writer) prepare(ctx context.Context) (shift time.Duration, err error) {
	s, err := w.archive.Session(ctx, w.current)
	if err != nil && !errors.Is(err, storage.ErrNoSession) {
		return 0, err
	}
	k := w.mark
	k.Again, k.Complete = true, false
	if ns := s.Shift.Nanoseconds(); ns != k.ShiftNs {
		// What has been sent so far has another time.
		k.Replace, k.ShiftNs = k.Replace || w.sent, ns
	}
	return s.Shift, w.note(k, w.every)
}

// note saves the session's mark if it has changed, or has not been saved for
// some time while the writer got on.
func (w *Writer) note(k mark, every time.Duration) error {
	if w.follow.Place() > k.Place && time.Since(w.kept) >= every {
		k.Place = w.follow.Place()
	}
	if k == w.mark {
		return nil
	}
	if err := w.marks.save(k); err != nil {
		return err
	}
	w.mark, w.kept = k, time.Now()
	return nil
}
