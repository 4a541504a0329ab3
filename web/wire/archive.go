package wire

import (
	"context"
	"fmt"
	"slices"
	"sync"
	"time"

	"padlark/decode"
	"padlark/ingest"
	"padlark/storage"
	"padlark/storage/sqlite"
	"padlark/web"
)

// Archive is the SQLite archive that counts what its sessions hold. It is safe for
// concurrent use.
type Archive struct {
	*sqlite.Archive
	// running names the session that this station records now; "" for none.
	running func() string

	mu     sync.Mutex
	counts map[string]count
}

// NewArchive makes the adapter. running may be nil.
func NewArchive(a *sqlite.Archive, running func() string) *Archive {
	if running == nil {
		running = func() string { return "" }
	}
	return &Archive{Archive: a, running: running, counts: map[string]count{}}
}

// count is what one pass over a session's frames and samples finds.
type count struct {
	frames, bytes, lost uint64
	gaps                [][2]int64
	final               bool // the session has ended: nothing more will come
}

// Times of the counting.
const (
	silence  = 5 * time.Second  // a gap worth telling
	recount  = 20 * time.Second // shortest time between two counts of a running session
	settling = time.Minute      // what is on its way when a session ends arrives within
)

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

// Count counts every session that is not counted for good, newest first. It
// reads those sessions whole.
func (a *Archive) Count(ctx context.Context) error {
	list, err := a.Archive.Sessions(ctx)
	if err != nil {
		return err
	}
	for _, s := range slices.Backward(list) {
		a.mu.Lock()
		known := a.counts[s.ID]
		a.mu.Unlock()
		if known.final {
			continue
		}
		c, err := a.count(ctx, s)
		if err != nil {
			return err
		}
		a.mu.Lock()
		a.counts[s.ID] = c
		a.mu.Unlock()
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

func (a *Archive) session(s sqlite.Session) web.Session {
	a.mu.Lock()
	c, counted := a.counts[s.ID]
	a.mu.Unlock()
	at := func(ns int64) time.Time { return s.Corrected(s.Epoch).Add(time.Duration(ns)) }
	w := web.Session{
		ID: s.ID, Station: s.Station, Epoch: at(0), Live: s.ID == a.running(),
		Counted: counted, Frames: c.frames, Lost: c.lost, Bytes: c.bytes, Links: s.Links,
		ShiftNs: s.Shift.Nanoseconds(), FixedBy: s.ShiftSource, Version: s.Version,
	}
	if !s.Ended.IsZero() {
		ended := s.Corrected(s.Ended)
		w.Ended = &ended
	}
	for _, r := range s.Rockets {
		w.Rockets = append(w.Rockets, r.Name)
	}
	for _, g := range c.gaps {
		w.Gaps = append(w.Gaps, web.Gap{From: at(g[0]), To: at(g[1])})
	}
	return w
}

func (a *Archive) count(ctx context.Context, s sqlite.Session) (count, error) {
	c, last := count{}, int64(0)
	err := a.Frames(ctx, storage.Query{Session: s.ID, Recorded: true}, func(f ingest.Frame) error {
		if f.Passed-last > silence.Nanoseconds() {
			c.gaps = append(c.gaps, [2]int64{last, f.Passed})
		}
		c.frames++
		c.bytes += uint64(len(f.Bytes))
		last = f.Passed
		return nil
	})
	if err != nil {
		return c, err
	}
	c.lost, err = a.lost(ctx, s.ID)
	c.final = !s.Ended.IsZero() && s.ID != a.running() && time.Since(s.Ended) > settling
	return c, err
}

// lost counts the holes in the rockets' own numbering, each number counted once
// however many links heard it.
func (a *Archive) lost(ctx context.Context, session string) (uint64, error) {
	type life struct {
		rocket string
		boot   uint32
	}
	type span struct {
		low, high int64
		heard     uint64
	}
	spans := map[life]*span{}
	merger := decode.NewMerger()
	err := a.Samples(ctx, storage.Query{Session: session, Recorded: true}, func(s *decode.Sample) error {
		if _, first := merger.Add(*s); s.Seq < 0 || !first {
			return nil
		}
		k := life{s.Rocket, s.Boot}
		sp := spans[k]
		if sp == nil {
			sp = &span{low: s.Seq, high: s.Seq}
			spans[k] = sp
		}
		sp.low, sp.high = min(sp.low, s.Seq), max(sp.high, s.Seq)
		sp.heard++
		return nil
	})
	var n uint64
	for _, sp := range spans {
		if all := uint64(sp.high-sp.low) + 1; all > sp.heard {
			n += all - sp.heard
		}
	}
	return n, err
}
