package main

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"golang.org/x/sync/errgroup"

	"padlark/cmd/padlark/config"
	"padlark/decode"
	"padlark/flight"
	"padlark/ingest"
	"padlark/storage"
	"padlark/storage/sqlite"
	"padlark/watch"
)

// importTail is how long a session goes on after its last line: long enough for
// a landing to be called.
const importTail = 15 * time.Second

// playBatch is how many frames go into one transaction and from one stage to
// the next.
const playBatch = 8192

// playAhead is how many batches are under way at a time.
const playAhead = 5

// frameSource calls fn with frames in the order in which they passed. said is
// what is in one, nil if it is to be decoded.
type frameSource func(ctx context.Context, fn func(f *ingest.Frame, said *decode.Parsed) error) error

// player runs frames through decoding and watching, as a replay of them will,
// and hands on the rows. The three run beside each other, each in order, so
// that what comes out is always the same.
type player struct {
	cfg    *config.Config
	id     string
	epoch  time.Time
	events []flight.Event
	alarms []flight.Alarm
	frames uint64 // so far
	passed int64  // of the last frame
	// rows, if set, takes the frames with their samples or rejects, which are
	// its own only during the call.
	rows func(r sqlite.Rows) error
	// sample, if set, sees each sample.
	sample func(s *decode.Sample)
}

func (p *player) play(ctx context.Context, frames frameSource) error {
	line, err := p.cfg.Line(p.id, p.epoch)
	if err != nil {
		return err
	}
	free := make(chan *sqlite.Rows, playAhead)
	for range cap(free) {
		free <- &sqlite.Rows{}
	}
	decoded, watched := make(chan *sqlite.Rows, playAhead), make(chan *sqlite.Rows, playAhead)
	g, gctx := errgroup.WithContext(ctx)
	g.Go(func() error {
		defer close(decoded)
		return p.decode(gctx, line.Decoder, frames, free, decoded)
	})
	g.Go(func() error {
		defer close(watched)
		for rows := range decoded {
			if err := gctx.Err(); err != nil {
				return err
			}
			for i := range rows.Samples {
				s := &rows.Samples[i]
				p.take(line.Engine.Sample(s))
				if p.sample != nil {
					p.sample(s)
				}
			}
			watched <- rows // there is room for all
		}
		return nil
	})
	g.Go(func() error {
		for rows := range watched {
			if p.rows != nil {
				if err := p.rows(*rows); err != nil {
					return err
				}
			}
			free <- rows // there is room for all
		}
		return nil
	})
	if err := g.Wait(); err != nil {
		return err
	}
	p.take(line.Engine.Advance(p.end()))
	return nil
}

// decode fills batches. Their number is fixed, so it waits while the others are
// behind.
func (p *player) decode(ctx context.Context, d *decode.Decoder, frames frameSource, free <-chan *sqlite.Rows, out chan<- *sqlite.Rows) error {
	var rows *sqlite.Rows
	err := frames(ctx, func(f *ingest.Frame, said *decode.Parsed) error {
		if rows == nil {
			select {
			case rows = <-free:
			case <-ctx.Done():
				return ctx.Err()
			}
			*rows = sqlite.Rows{Frames: rows.Frames[:0], Samples: rows.Samples[:0], Rejects: rows.Rejects[:0], From: p.frames + 1}
		}
		p.frames++
		rows.Frames = append(rows.Frames, *f)
		if err := p.decodeOne(d, f, said, rows); err != nil {
			return err
		}
		if len(rows.Frames) == playBatch {
			out <- rows // there is room for all
			rows = nil
		}
		return nil
	})
	if err == nil && rows != nil {
		out <- rows // there is room for all
	}
	return err
}

func (p *player) decodeOne(d *decode.Decoder, f *ingest.Frame, said *decode.Parsed, rows *sqlite.Rows) error {
	p.passed = f.Passed
	rej, err := d.TakeParsed(f, said, nil, func(s decode.Sample) error {
		rows.Samples = append(rows.Samples, s)
		return nil
	})
	if rej != nil {
		rows.Rejects = append(rows.Rejects, decode.Rejected{Session: p.id, Link: f.Link, N: f.N, Reject: *rej})
	}
	return err
}

func (p *player) take(o watch.Output) {
	p.events = append(p.events, o.Events...)
	p.alarms = append(p.alarms, o.Alarms...)
}

// end is when the session ends, in ns since its epoch.
func (p *player) end() int64 {
	if p.passed == 0 {
		return 0
	}
	return p.passed + importTail.Nanoseconds()
}

// keep stores a session of frames with all that follows from them, in the archive
// and as a journal. Doing it again changes nothing. If it fails, the archive is as it was before.
func (m *logImport) keep(ctx context.Context, s sqlite.Session, cfg *config.Config, frames frameSource) (*player, error) {
	was, err := m.archive.Session(ctx, s.ID)
	if err != nil && !errors.Is(err, storage.ErrNoSession) {
		return nil, err
	}
	there := err == nil && !was.Ended.IsZero() // one that an import left unfinished does not count
	p, err := m.fill(ctx, s, cfg, frames)
	if err == nil {
		return p, nil
	}
	if errors.Is(err, context.Canceled) {
		err = errors.New("interrupted")
	}
	// Nothing of it is new, so it only has to be closed again.
	undo, state := func() error { return m.archive.EndSession(ctx, s.ID, was.Ended) }, "is whole, from an earlier import"
	if !there {
		undo, state = func() error { return m.archive.DropSession(ctx, s.ID) }, "was taken out again, nothing of it is left"
	}
	if bad := undo(); bad != nil && !errors.Is(bad, storage.ErrNoSession) {
		state = fmt.Sprintf("is there in part (%v), and the same import makes it whole", bad)
	}
	return nil, fmt.Errorf("import %s: %w; session %s %s", m.cmd.File, err, s.ID, state)
}

func (m *logImport) fill(ctx context.Context, s sqlite.Session, cfg *config.Config, frames frameSource) (_ *player, err error) {
	if err := m.archive.StartSession(ctx, s); err != nil {
		return nil, err
	}
	j, err := newLogJournal(m.dir, s, cfg)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, j.drop()) }()
	done, told := int64(0), newProgress(m.cio.Err, "storing", "lines", 0)
	defer told.end()
	p := &player{cfg: cfg, id: s.ID, epoch: s.Epoch}
	p.rows = func(r sqlite.Rows) error {
		done += int64(len(r.Frames))
		told.at(done)
		if err := j.frames(r.Frames); err != nil {
			return err
		}
		return m.archive.WriteRows(ctx, r)
	}
	if err := p.play(ctx, frames); err != nil {
		return nil, err
	}
	if err := j.finish(ctx, p); err != nil {
		return nil, err
	}
	last := sqlite.Rows{Events: p.events, Alarms: p.alarms, From: p.frames + 1}
	if err := m.archive.WriteRows(ctx, last); err != nil {
		return nil, err
	}
	return p, m.archive.EndSession(ctx, s.ID, s.Epoch.Add(time.Duration(p.end())))
}

// session describes a session made of a log.
func (m *logImport) session(id string, epoch time.Time, cfg *config.Config, links ...string) sqlite.Session {
	return sqlite.Session{
		ID: id, Station: cfg.Station.Name, Epoch: epoch, Version: softwareVersion(), Config: cfg.Text,
		Site: cfg.Site, Rockets: cfg.Rockets, Links: links,
	}
}

const (
	logMark   = "-log-"
	mergeMark = "-merged-"
)

// logOf says whether a session was made by an import, and of which log.
func logOf(session string) (sum string, ok bool) {
	for _, mark := range []string{logMark, mergeMark} {
		if _, after, found := strings.Cut(session, mark); found {
			return after, true
		}
	}
	return "", false
}
