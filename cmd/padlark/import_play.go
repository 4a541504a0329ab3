package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"padlark/cmd/padlark/config"
	"padlark/decode"
	"padlark/flight"
	"padlark/ingest"
	"padlark/storage/sqlite"
	"padlark/watch"
)

// importTail is how long a session goes on after its last line: long enough for
// a landing to be called.
const importTail = 15 * time.Second

// playBatch is how many frames go into one transaction.
const playBatch = 5000

// player runs frames through decoding and watching, as a replay of them will,
// and hands on the rows.
type player struct {
	cfg    *config.Config
	id     string
	epoch  time.Time
	events []flight.Event
	alarms []flight.Alarm
	// rows, if set, takes the frames with their samples or rejects.
	rows func(r sqlite.Rows) error
	// sample, if set, sees each sample.
	sample func(s *decode.Sample)
}

func (p *player) play(ctx context.Context, frames []ingest.Frame) error {
	decoder, err := decoderFor(p.cfg)
	if err != nil {
		return err
	}
	engine, err := watch.NewEngine(watch.Config{Session: p.id, Epoch: p.epoch, Rockets: p.cfg.Rockets, Site: p.cfg.Site, Thresholds: p.cfg.Alarm})
	if err != nil {
		return err
	}
	rows := sqlite.Rows{}
	for i, f := range frames {
		s, err := decoder.Decode(f)
		var rej *decode.Reject
		switch {
		case errors.As(err, &rej):
			rows.Rejects = append(rows.Rejects, decode.Rejected{Session: p.id, Link: f.Link, N: f.N, Reject: *rej})
		case err != nil:
			return fmt.Errorf("decode frame %d of %s: %w", f.N, f.Link, err)
		default:
			p.take(engine.Sample(&s))
			rows.Samples = append(rows.Samples, s)
			if p.sample != nil {
				p.sample(&s)
			}
		}
		if (i+1)%playBatch != 0 && i+1 < len(frames) {
			continue
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		rows.Frames = frames[i-i%playBatch : i+1]
		rows.From = uint64(i-i%playBatch) + 1
		if p.rows != nil {
			if err := p.rows(rows); err != nil {
				return err
			}
		}
		rows = sqlite.Rows{Samples: rows.Samples[:0], Rejects: rows.Rejects[:0]}
	}
	p.take(engine.Advance(p.end(frames)))
	return nil
}

func (p *player) take(o watch.Output) {
	p.events = append(p.events, o.Events...)
	p.alarms = append(p.alarms, o.Alarms...)
}

// end is when the session ends, in ns since its epoch.
func (p *player) end(frames []ingest.Frame) int64 {
	if len(frames) == 0 {
		return 0
	}
	return frames[len(frames)-1].Passed + importTail.Nanoseconds()
}

// keep stores a session of frames with all that follows from them. Doing it
// again changes nothing.
func (m *logImport) keep(ctx context.Context, s sqlite.Session, cfg *config.Config, frames []ingest.Frame) (*player, error) {
	if err := m.archive.StartSession(ctx, s); err != nil {
		return nil, err
	}
	done, say := uint64(0), progressOn(m.cio.Err, "stored")
	p := &player{cfg: cfg, id: s.ID, epoch: s.Epoch}
	p.rows = func(r sqlite.Rows) error {
		done += uint64(len(r.Frames))
		say(done)
		return m.archive.WriteRows(ctx, r)
	}
	if err := p.play(ctx, frames); err != nil {
		return nil, err
	}
	last := sqlite.Rows{Events: p.events, Alarms: p.alarms, From: uint64(len(frames)) + 1}
	if err := m.archive.WriteRows(ctx, last); err != nil {
		return nil, err
	}
	return p, m.archive.EndSession(ctx, s.ID, s.Epoch.Add(time.Duration(p.end(frames))))
}

// session describes a session made of a log.
func (m *logImport) session(id string, epoch time.Time, cfg *config.Config, frames []ingest.Frame) sqlite.Session {
	s := sqlite.Session{
		ID: id, Station: cfg.Station.Name, Epoch: epoch, Version: softwareVersion(), Config: cfg.Text,
		Site: cfg.Site, Rockets: cfg.Rockets,
	}
	for _, f := range frames {
		if !slices.Contains(s.Links, f.Link) {
			s.Links = append(s.Links, f.Link)
		}
	}
	return s
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
