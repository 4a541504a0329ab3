package results

import (
	"context"
	"fmt"
	"time"

	"padlark/decode"
	"padlark/ingest"
	"padlark/storage"
	"padlark/storage/sqlite"
)

// pause is how long nothing must be heard to be told as a silence.
const pause = 5 * time.Second

// Totals is what was heard in a session.
type Totals struct {
	Frames uint64 `json:"frames"`
	Bytes  uint64 `json:"bytes"` // of the frames themselves
	// Silences are those of 5 s or more, from the frame before to the one after, in
	// ns since the epoch.
	Silences [][2]int64      `json:"silences"`
	Rockets  []decode.Merged `json:"rockets"` // by name
}

// Lost counts the numbers that no link heard.
func (t *Totals) Lost() (n uint64) {
	for _, r := range t.Rockets {
		n += r.Lost
	}
	return n
}

// counted is a session as far as it has been counted.
type counted struct {
	Of     string `json:"of"` // as in summaries; "" while it runs
	Totals `json:"totals"`
	last   int64 // Passed of the newest frame
	merger *decode.Merger
}

// Counted gives what a session came to when it was counted last, if it was.
func (r *Results) Counted(session string) (Totals, bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	c, ok := r.totals[session]
	return c.Totals, ok
}

// Count counts what was heard in a session. One that has ended is read whole once, and
// the totals kept; one that runs is read from where it was read before.
func (r *Results) Count(ctx context.Context, s storage.Session) (Totals, error) {
	r.counting.Lock()
	defer r.counting.Unlock()
	madeOf, err := r.madeOf(ctx, &s)
	if err != nil {
		return Totals{}, err
	}
	r.mu.Lock()
	c, known := r.totals[s.ID]
	r.mu.Unlock()
	if known && madeOf != "" && c.Of == madeOf {
		return c.Totals, nil
	}
	path := r.pathOf(s.ID, ".totals.json.zst")
	if madeOf != "" {
		if old, err := readKept[counted](path); err == nil && old.Of == madeOf {
			return r.counts(s.ID, old), nil
		}
	}
	if madeOf != "" || c.merger == nil {
		c = counted{last: -1, merger: decode.NewMerger()}
	}
	if err := c.goOn(ctx, r.archive, s.ID); err != nil {
		r.mu.Lock()
		delete(r.totals, s.ID) // its merger knows samples that its counts do not
		r.mu.Unlock()
		return Totals{}, fmt.Errorf("count session %s: %w", s.ID, err)
	}
	if madeOf != "" {
		c.Of, c.merger = madeOf, nil
		r.write(path, c)
	}
	return r.counts(s.ID, c), nil
}

func (r *Results) counts(session string, c counted) Totals {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.totals[session] = c
	return c.Totals
}

// goOn counts what has come since.
func (c *counted) goOn(ctx context.Context, a *sqlite.Archive, session string) error {
	newest, ok, err := a.LastPassed(ctx, session)
	if err != nil || ok && newest == c.last {
		return err
	}
	q := storage.Query{Session: session, Recorded: true}
	if ok {
		q.FromPassed, q.ToPassed = c.last+1, newest+1
	}
	err = a.Frames(ctx, q, func(f ingest.Frame) error {
		if before := max(0, c.last); f.Passed-before > pause.Nanoseconds() {
			c.Silences = append(c.Silences, [2]int64{before, f.Passed})
		}
		c.Frames++
		c.Bytes += uint64(len(f.Bytes))
		c.last = f.Passed
		return nil
	})
	if err != nil {
		return err
	}
	err = a.Samples(ctx, q, func(s *decode.Sample) error {
		c.merger.Take(s)
		return nil
	})
	c.Rockets, c.last = c.merger.Counts(), newest
	if !ok { // samples without frames: how far they were read, nothing tells
		c.merger = nil
	}
	return err
}
