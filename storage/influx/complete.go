package influx

import (
	"context"
	"errors"
	"time"

	"padlark/storage"
)

const (
	// settleTime is from a touchdown until the flight's results are sent: the
	// rest on the ground belongs to the flight.
	settleTime = 75 * time.Second
	// lookEvery is how often it is looked whether people have said something of
	// earlier flights.
	lookEvery = time.Minute
	// idleMost is how long the end of a station waits for a server that takes
	// nothing.
	idleMost = 5 * time.Second
)

// completeAll sends what is worked out from the archive: first what earlier sessions
// still lack, then the flights of this one as they end.
func (w *Writer) completeAll(ctx context.Context) {
	due := time.NewTimer(0)
	defer due.Stop()
	look := time.NewTicker(w.lookAgain) // another program may write to the archive
	defer look.Stop()
	var landed bool
	for {
		select {
		case <-ctx.Done():
			return
		case <-w.landed:
			landed = true
			due.Reset(w.settle)
		case <-look.C:
			if !landed {
				due.Reset(0)
			}
		case <-due.C:
			err := w.catchUp(ctx)
			if err == nil && landed {
				err = w.soFar(ctx)
			}
			if err == nil {
				landed = false
				continue
			}
			if ctx.Err() == nil {
				w.opt.Log.Debug().Err(err).Msg("results for the time-series server wait")
			}
			due.Reset(w.opt.RetryMax)
		}
	}
}

// catchUp completes the sessions before this one: those that lack something, and
// those of whose flights people have said something else since.
func (w *Writer) catchUp(ctx context.Context) error {
	noted, err := w.marks.noted()
	if err != nil {
		return err
	}
	for _, k := range noted {
		if k.Session == w.current {
			continue
		}
		said, err := w.said(ctx, k.Session)
		if err != nil {
			return err
		}
		if k.Complete && said == k.Said {
			continue
		}
		if err := w.complete(ctx, k.Session); err != nil {
			return err
		}
	}
	return nil
}

// complete sends what a session that is over still lacks, and notes that it is
// complete.
func (w *Writer) complete(ctx context.Context, id string) error {
	s, err := w.archive.Session(ctx, id)
	if err != nil && !errors.Is(err, storage.ErrNoSession) {
		return err
	}
	k, _, lerr := w.marks.load(id)
	if lerr != nil {
		return lerr
	}
	said, serr := w.said(ctx, id)
	if serr != nil {
		return serr
	}
	switch {
	case err != nil:
		// The archive has been changed for another one: there is nothing to send.
	case k.Again || k.Replace || k.ShiftNs != s.Shift.Nanoseconds() || k.Said != said:
		w.opt.Log.Info().Str("session", id).Msg("sending a session to the time-series server again, from the archive")
		if _, err := w.session(ctx, id, false, completeTries, nil); err != nil {
			return err
		}
		if k, _, err = w.marks.load(id); err != nil {
			return err
		}
	default:
		if _, err := w.results(ctx, s, completeTries); err != nil {
			return err
		}
	}
	k.Complete = true
	return w.marks.save(k)
}

// completeTries is how often a request is tried before all else is: completeAll comes
// back to it.
const completeTries = 3

// soFar sends the flights and links of the session that runs.
func (w *Writer) soFar(ctx context.Context) error {
	s, err := w.archive.Session(ctx, w.current)
	if err != nil {
		return err
	}
	_, err = w.results(ctx, s, completeTries)
	return err
}

// drain waits until the journal has been sent, for as long as the server takes
// something; false if something is left.
func (w *Writer) drain(ctx context.Context, followed <-chan struct{}) bool {
	close(w.hurry)
	look := time.NewTicker(50 * time.Millisecond)
	defer look.Stop()
	lines, since := uint64(0), time.Now()
	for {
		s := w.State()
		if s.Lines > lines {
			lines, since = s.Lines, time.Now()
		}
		if s.Left == 0 {
			return true
		}
		if s.Trouble != "" || time.Since(since) > idleMost {
			return false
		}
		select {
		case <-look.C:
		case <-followed:
			return w.State().Left == 0
		case <-ctx.Done():
			return false
		}
	}
}

// finish notes how far the session that has ended has come, and completes it if
// all of its journal is sent; end is where that was when the session ended.
func (w *Writer) finish(ctx context.Context, drained bool, end int64) {
	k := w.mark
	k.Again = !drained
	err := w.note(k, 0)
	if err == nil && drained {
		err = w.run.Archived(ctx, end)
	}
	if err == nil && drained {
		err = w.complete(ctx, w.current)
	}
	if err != nil || !drained {
		w.opt.Log.Warn().Err(err).Msg("not everything is on the time-series server yet; the rest is sent when the station starts again, or by padlark storage backfill")
	}
}
