package wire

import (
	"context"
	"fmt"
	"slices"
	"time"

	"padlark/storage"
	"padlark/storage/results"
	"padlark/storage/sqlite"
	"padlark/web"
)

// Archive is the SQLite archive that tells what was counted in its sessions.
type Archive struct {
	*sqlite.Archive
	results *results.Results
	// running names the session that this station records now; "" for none.
	running func() string
}

// NewArchive makes the adapter. running may be nil.
func NewArchive(a *sqlite.Archive, r *results.Results, running func() string) *Archive {
	if running == nil {
		running = func() string { return "" }
	}
	return &Archive{Archive: a, results: r, running: running}
}

// recount is the shortest time between two counts of a running session.
const recount = 20 * time.Second

// Run counts what the sessions hold, newest first, and the running one again
// and again, until ctx ends. It returns nil then. Without it the sessions are
// listed uncounted. Counting takes at most a fiftieth of the time.
func (a *Archive) Run(ctx context.Context) error {
	for {
		begin := time.Now()
		if err := a.Count(ctx); err != nil && ctx.Err() == nil {
			return fmt.Errorf("count the archive's sessions: %w", err)
		}
		pause := time.NewTimer(max(recount, 50*time.Since(begin)))
		select {
		case <-pause.C:
		case <-ctx.Done():
			pause.Stop()
			return nil
		}
	}
}

// Count counts every session that is not counted for good, newest first.
func (a *Archive) Count(ctx context.Context) error {
	list, err := a.Archive.Sessions(ctx)
	if err != nil {
		return err
	}
	for _, s := range slices.Backward(list) {
		if _, err := a.results.Count(ctx, s); err != nil {
			return err
		}
	}
	return nil
}

// Sessions lists the sessions with what is known to have been heard in them.
func (a *Archive) Sessions(ctx context.Context) ([]web.Session, error) {
	list, err := a.Archive.Sessions(ctx)
	if err != nil {
		return nil, err
	}
	out := make([]web.Session, 0, len(list))
	for _, s := range list {
		last, heard, err := a.LastPassed(ctx, s.ID)
		if err != nil {
			return nil, err
		}
		w := a.session(s)
		if heard {
			at := s.Corrected(s.Epoch).Add(time.Duration(last))
			w.Last = &at
		}
		out = append(out, w)
	}
	return out, nil
}

func (a *Archive) session(s storage.Session) web.Session {
	c, counted := a.results.Counted(s.ID)
	at := func(ns int64) time.Time { return s.Corrected(s.Epoch).Add(time.Duration(ns)) }
	w := web.Session{
		ID: s.ID, Station: s.Station, Epoch: at(0), Live: s.ID == a.running(),
		Counted: counted, Frames: c.Frames, Lost: c.Lost(), Bytes: c.Bytes, Links: s.Links,
		ShiftNs: s.Shift.Nanoseconds(), FixedBy: s.ShiftSource, Version: s.Version,
	}
	if !s.Ended.IsZero() {
		ended := s.Corrected(s.Ended)
		w.Ended = &ended
	}
	for _, r := range s.Rockets {
		w.Rockets = append(w.Rockets, r.Name)
	}
	for _, g := range c.Silences {
		w.Gaps = append(w.Gaps, web.Gap{From: at(g[0]), To: at(g[1])})
	}
	return w
}
