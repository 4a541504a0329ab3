package influx

import (
	"context"
	"errors"
	"time"

	"padlark/storage/sqlite"
)

const (
	// settleTime is from a touchdown until the flight's results are sent: the
	// rest on the ground belongs to the flight.
	settleTime = 75 * time.Second
	// lookEvery is how often it is looked whether the stream has been read.
	lookEvery = 2 * time.Second
	// idleMost is how long the end of a station waits for a server that takes
	// nothing.
	idleMost = 5 * time.Second
)

// attend sends what is worked out from the archive: first what earlier sessions
// still lack, then the flights of this one as they end.
func (w *Writer) attend(ctx context.Context) {
	start := w.bus.LastSeq()
	for _, durable := range []string{sqlite.Durable, Durable} {
		// What is still in the stream of the earlier sessions goes first: it must
		// be in the archive before that is read, and on the server before
		// anything is deleted there.
		if !w.waitRead(ctx, durable, start) {
			return
		}
	}
	due := time.NewTimer(0)
	defer due.Stop()
	var landed bool
	for {
		select {
		case <-ctx.Done():
			return
		case <-w.landed:
			landed = true
			due.Reset(w.settle)
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

// waitRead waits, without haste, until a consumer has read the stream up to seq.
func (w *Writer) waitRead(ctx context.Context, durable string, seq uint64) bool {
	for {
		look, cancel := context.WithTimeout(ctx, lookEvery/20)
		err := w.bus.WaitConsumed(look, durable, seq)
		cancel()
		if err == nil {
			return true
		}
		if !sleep(ctx, lookEvery) {
			return false
		}
	}
}

// catchUp completes the sessions before this one.
func (w *Writer) catchUp(ctx context.Context) error {
	pending, err := w.marks.pending()
	if err != nil {
		return err
	}
	for _, k := range pending {
		if k.Session == w.current {
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
	if err != nil && !errors.Is(err, sqlite.ErrNoSession) {
		return err
	}
	k, _, lerr := w.marks.load(id)
	if lerr != nil {
		return lerr
	}
	switch {
	case err != nil:
		// The archive has been changed for another one: there is nothing to send.
	case k.Again || k.Replace || k.ShiftNs != s.Shift.Nanoseconds():
		w.opt.Log.Info().Str("session", id).Msg("sending a session to the time-series server again, from the archive")
		if _, err := w.session(ctx, id, false, attendTries, nil); err != nil {
			return err
		}
		if k, _, err = w.marks.load(id); err != nil {
			return err
		}
	default:
		if _, err := w.results(ctx, s, attendTries); err != nil {
			return err
		}
	}
	k.Complete = true
	return w.marks.save(k)
}

// attendTries is how often a request is tried before all else is: attend comes
// back to it.
const attendTries = 3

// soFar sends the flights and links of the session that runs.
func (w *Writer) soFar(ctx context.Context) error {
	s, err := w.archive.Session(ctx, w.current)
	if err != nil {
		return err
	}
	_, err = w.results(ctx, s, attendTries)
	return err
}

// drain waits until the stream has been sent, for as long as the server takes
// something; false if something is left.
func (w *Writer) drain(ctx context.Context) bool {
	end := w.bus.LastSeq()
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	done := make(chan error, 1)
	go func() { done <- w.bus.WaitConsumed(ctx, Durable, end) }()
	last, since := w.State().Lines, time.Now()
	look := time.NewTicker(50 * time.Millisecond)
	defer look.Stop()
	for {
		select {
		case err := <-done:
			return err == nil
		case <-look.C:
			s := w.State()
			if s.Lines > last {
				last, since = s.Lines, time.Now()
			}
			if time.Since(since) > idleMost || s.Trouble != "" {
				cancel()
				return <-done == nil
			}
		}
	}
}

// finish completes the session that has ended.
func (w *Writer) finish(ctx context.Context, drained bool) {
	if !drained {
		w.opt.Log.Warn().Msg("not everything is on the time-series server yet; the rest is sent when the station starts again, or by padlark storage backfill")
		return
	}
	if err := w.complete(ctx, w.current); err != nil {
		w.opt.Log.Warn().Err(err).Msg("the results of this session are not on the time-series server yet; they are sent when the station starts again, or by padlark storage backfill")
	}
}
