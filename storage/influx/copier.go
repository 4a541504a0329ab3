package influx

import (
	"context"
	"errors"
	"fmt"
	"time"

	"golang.org/x/sync/errgroup"

	"padlark/decode"
	"padlark/flight"
	"padlark/storage"
	"padlark/storage/sqlite"
)

// Flights works out the results of all flights of one session.
type Flights func(ctx context.Context, session string) ([]flight.Result, error)

// copier puts sessions of the archive on the server. Writer and Backfill share it.
type copier struct {
	opt     Options
	archive *sqlite.Archive
	flights Flights
	server  *server
	sender  *sender
	marks   *marks
}

func newCopier(o Options, a *sqlite.Archive, f Flights) (*copier, error) {
	o.setDefaults()
	if err := o.validate(); err != nil {
		return nil, err
	}
	s := newServer(o)
	return &copier{opt: o, archive: a, flights: f, server: s, sender: newSender(s, newRejected(o.Dir)), marks: newMarks(o)}, nil
}

// Copied says how much of a session was sent.
type Copied struct {
	Session  string `json:"session"`
	Samples  uint64 `json:"samples"`
	Events   int    `json:"events"`
	Alarms   int    `json:"alarms"`
	Flights  int    `json:"flights"`
	SetAside uint64 `json:"set_aside"` // lines that the server will never take
	Replaced bool   `json:"replaced"`  // points with another time shift were deleted first
}

// said tells apart what people have said of a session's flights: which are void,
// and which are corrected.
func (c *copier) said(ctx context.Context, id string) (string, error) {
	voids, err := c.archive.VoidNow(ctx, id)
	if err != nil {
		return "", err
	}
	corrections, err := c.archive.Corrections(ctx, id)
	said := ""
	for _, v := range voids {
		said += fmt.Sprintf("void %d ", v.ID)
	}
	for _, k := range corrections {
		if !k.Undone {
			said += fmt.Sprintf("correction %d ", k.ID)
		}
	}
	return said, err
}

// session sends a whole session and notes that it is complete. If points with
// another time shift are there, or something else was said of its flights when
// they were sent, or replace is true, all of its points are
// deleted first. A failing request is tried tries times.
func (c *copier) session(ctx context.Context, id string, replace bool, tries int, progress func(samples uint64)) (Copied, error) {
	out := Copied{Session: id}
	s, err := c.archive.Session(ctx, id)
	if err != nil {
		return out, err
	}
	k, noted, err := c.marks.load(id)
	if err != nil {
		return out, err
	}
	said, err := c.said(ctx, id)
	if err != nil {
		return out, err
	}
	was := c.sender.counts().Rejected
	if out.Replaced = replace || k.Replace || noted && (k.ShiftNs != s.Shift.Nanoseconds() || k.Said != said); out.Replaced {
		// Noted before, so that an interruption leaves nothing doubled.
		k.Replace, k.Again, k.Complete, k.Place = true, true, false, 0
		if err := c.marks.save(k); err != nil {
			return out, err
		}
		if err := c.server.forget(ctx, id); err != nil {
			return out, err
		}
	}
	k.ShiftNs, k.Said, k.Replace, k.Again, k.Complete, k.Place = s.Shift.Nanoseconds(), said, false, true, false, 0
	if err := c.marks.save(k); err != nil {
		return out, err
	}
	if err := c.stream(ctx, s, tries, &out, progress); err != nil {
		return out, err
	}
	if out.Flights, err = c.results(ctx, s, tries); err != nil {
		return out, err
	}
	out.SetAside = c.sender.counts().Rejected - was
	k.Again, k.Complete = false, !s.Ended.IsZero()
	return out, c.marks.save(k)
}

// blockLines is how many lines are read ahead at a time; the reader is at most
// readAhead blocks before the server.
const (
	blockLines = chunkMost
	readAhead  = 2
)

// stream sends samples, events and alarms: one goroutine reads and writes lines,
// this one sends them.
func (c *copier) stream(ctx context.Context, s storage.Session, tries int, out *Copied, progress func(uint64)) error {
	g, ctx := errgroup.WithContext(ctx)
	full := make(chan *block, readAhead)
	empty := make(chan *block, readAhead+2)
	for range cap(empty) {
		empty <- &block{}
	}
	g.Go(func() error {
		defer close(full)
		return c.read(ctx, s, out, full, empty)
	})
	g.Go(func() error {
		sent := uint64(0)
		for b := range full {
			if err := c.push(ctx, b, tries); err != nil {
				return err
			}
			sent += uint64(b.len())
			if progress != nil {
				progress(sent)
			}
			b.reset()
			empty <- b // never blocks: it has room for all blocks there are
		}
		return nil
	})
	return g.Wait()
}

// read fills blocks with the session's lines.
func (c *copier) read(ctx context.Context, s storage.Session, out *Copied, full chan<- *block, empty <-chan *block) error {
	var b *block
	pass := func(least int) error {
		if b != nil && b.len() > least {
			select {
			case full <- b:
				b = nil
			case <-ctx.Done():
				return ctx.Err()
			}
		}
		if b == nil {
			select {
			case b = <-empty:
			case <-ctx.Done():
				return ctx.Err()
			}
		}
		return nil
	}
	if err := pass(0); err != nil {
		return err
	}
	// The readers of the archive add the session's shift themselves.
	q := storage.Query{Session: s.ID}
	err := c.archive.Samples(ctx, q, func(m *decode.Sample) error {
		b.take(appendSample(b.buf, c.station(s), m, 0))
		out.Samples++
		return pass(blockLines - 1)
	})
	if err != nil {
		return err
	}
	events, err := c.archive.Events(ctx, q)
	if err != nil {
		return err
	}
	if events, err = c.archive.WithoutVoid(ctx, s.ID, events); err != nil {
		return err
	}
	for i := range events {
		b.take(appendEvent(b.buf, c.station(s), &events[i], 0))
	}
	alarms, err := c.archive.Alarms(ctx, q)
	if err != nil {
		return err
	}
	for i := range alarms {
		b.take(appendAlarm(b.buf, c.station(s), &alarms[i], 0))
	}
	out.Events, out.Alarms = len(events), len(alarms)
	return pass(0)
}

// station is the tag: that of the session, which may be another station's.
func (c *copier) station(s storage.Session) string {
	if s.Station != "" {
		return s.Station
	}
	return c.opt.Station
}

// results sends what is worked out: one point per flight and per link.
func (c *copier) results(ctx context.Context, s storage.Session, tries int) (int, error) {
	var b block
	n, err := c.flightLines(ctx, s, &b)
	if err != nil {
		return 0, err
	}
	counts, err := c.linkCounts(ctx, s)
	if err != nil {
		return 0, err
	}
	for _, l := range counts {
		b.take(appendLink(b.buf, c.station(s), s.ID, l, s.Corrected(s.Epoch)))
	}
	if b.len() == 0 {
		return 0, nil
	}
	return n, c.push(ctx, &b, tries)
}

func (c *copier) flightLines(ctx context.Context, s storage.Session, b *block) (int, error) {
	if c.flights == nil {
		return 0, nil
	}
	all, err := c.flights(ctx, s.ID)
	if err != nil {
		return 0, fmt.Errorf("work out the flights of session %s: %w", s.ID, err)
	}
	spans, err := c.archive.Flights(ctx, s.ID)
	if err != nil {
		return 0, err
	}
	for i := range all {
		r := &all[i]
		for _, span := range spans {
			if span.Rocket != r.Rocket || span.Flight != r.Flight || span.Liftoff == nil {
				continue
			}
			b.take(appendFlight(b.buf, c.station(s), r, s.Corrected(*span.Liftoff)))
		}
	}
	return len(all), nil
}

func (c *copier) linkCounts(ctx context.Context, s storage.Session) ([]linkCount, error) {
	last, err := c.archive.LastSampled(ctx, s.ID)
	if err != nil {
		return nil, err
	}
	rejects, err := c.archive.Rejects(ctx, s.ID)
	if err != nil {
		return nil, err
	}
	out := make([]linkCount, len(s.Links))
	index := map[string]*linkCount{}
	for i, l := range s.Links {
		out[i] = linkCount{link: l, frames: last[l], rejects: map[string]uint64{}}
		index[l] = &out[i]
	}
	for _, r := range rejects {
		if l := index[r.Link]; l != nil {
			l.frames = max(l.frames, r.N)
			l.rejects[r.Reject.Reason]++
		}
	}
	return out, nil
}

// push sends a block, trying up to tries times with a growing pause.
func (c *copier) push(ctx context.Context, b *block, tries int) error {
	done, wait := 0, c.opt.RetryMin
	for try := 1; ; try++ {
		to, err := c.sender.send(ctx, b, done)
		if err == nil {
			return nil
		}
		if to > done {
			try, wait = 1, c.opt.RetryMin // it gets on
		}
		done = to
		var f *failure
		if ctx.Err() != nil || !errors.As(err, &f) || f.verdict != tryAgain || try >= tries {
			return fmt.Errorf("send to %s: %w", c.opt.URL, err)
		}
		if !sleep(ctx, max(wait, f.pause())) {
			return ctx.Err()
		}
		wait = min(2*wait, c.opt.RetryMax)
	}
}

// pauseMost bounds how long a server may ask to be left alone.
const pauseMost = 5 * time.Minute

// pause is how long the server asks to be left alone.
func (f *failure) pause() time.Duration { return min(f.retryAfter, pauseMost) }

// sleep waits; false if ctx ended before.
func sleep(ctx context.Context, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return true
	case <-ctx.Done():
		return false
	}
}
