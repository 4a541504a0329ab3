package station

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/rs/zerolog"

	"padlark/cmd/padlark/config"
	"padlark/flight"
	"padlark/flight/alarm"
	"padlark/ingest"
	"padlark/storage"
	"padlark/storage/batch"
	"padlark/storage/journal"
	"padlark/storage/sqlite"
)

// gatherCommit is how long rows of the central archive may wait for their commit.
const gatherCommit = 2 * time.Second

// Gathering keeps what other stations hear: each session in a journal of its own,
// and from there in one archive, as a station does with its own. What a journal
// has already, by link and number of a frame, or by the names of events and
// alarms, changes nothing.
type Gathering struct {
	archive  *sqlite.Archive
	dir      string
	log      zerolog.Logger
	sessions map[string]*gathered // by name; nil are those of which nothing is taken
	running  sync.WaitGroup
	ctx      context.Context // of the followers
	stop     context.CancelFunc
}

// gathered is one session that is open here.
type gathered struct {
	journal *journal.Journal
	first   ingest.CaptureInfo // as the journal begins; the follower reads only this
	info    ingest.CaptureInfo // as it is now
	frames  map[string]uint64  // newest frame of each link
	events  map[string]bool
	alarms  alarm.Newest
	missing uint64        // frames that did not come
	over    bool          // these two are read once the journal is closed
	ended   time.Duration // 0 if the session was interrupted
	closed  chan struct{}
}

func (s *gathered) close() error {
	defer close(s.closed)
	return s.journal.Close(s.ended)
}

// NewGathering opens what there is in a data folder; the caller closes it.
func NewGathering(ctx context.Context, a *sqlite.Archive, data string, log zerolog.Logger) (*Gathering, error) {
	g := &Gathering{archive: a, dir: filepath.Join(data, "journal"), log: log, sessions: map[string]*gathered{}}
	paths, err := journal.List(g.dir)
	if err != nil {
		return nil, err
	}
	for _, path := range paths {
		if strings.HasSuffix(path, journal.Packed) {
			continue
		}
		if _, err := BringIn(ctx, a, path); ctx.Err() != nil {
			return nil, ctx.Err()
		} else if err != nil {
			log.Error().Err(err).Msg("a session is not all in the archive")
		}
	}
	g.ctx, g.stop = context.WithCancel(context.WithoutCancel(ctx))
	return g, nil
}

// Close brings all that was taken into the archive, as far as that can be done
// soon; the next start does the rest.
func (g *Gathering) Close() error {
	var errs []error
	for _, s := range g.sessions {
		if s != nil {
			errs = append(errs, s.close())
		}
	}
	limit := time.AfterFunc(drainTime, g.stop)
	g.running.Wait()
	limit.Stop()
	g.stop()
	return errors.Join(errs...)
}

// Take keeps a batch; when it returns nil the batch is on the disk. It is called
// from one goroutine, and with the batches of a session in their order.
func (g *Gathering) Take(ctx context.Context, b *batch.Batch) error {
	if len(b.Voids) > 0 {
		return g.said(ctx, b)
	}
	s, known := g.sessions[b.Session]
	if !known {
		var err error
		if s, err = g.open(b); err != nil {
			return err
		}
		if s == nil && b.Info == nil {
			return nil // it may be described later
		}
		g.sessions[b.Session] = s
	}
	if s == nil {
		return nil
	}
	if s.info.Station != b.Station {
		g.log.Error().Str("session", b.Session).Msgf("%s sends a session of that name, and it is one of %s: passed over", b.Station, s.info.Station)
		return nil
	}
	info := s.info
	if b.Info != nil {
		info = *b.Info
	}
	entries, err := b.Entries(&info)
	if err != nil {
		g.log.Error().Err(err).Msg("a batch is passed over")
		return nil
	}
	if err := s.change(b, entries); err != nil {
		return err
	}
	if err := g.write(s, entries); err != nil {
		return err
	}
	if b.End != nil {
		s.over, s.ended = true, time.Duration(*b.End)
		g.sessions[b.Session] = nil
		return s.close()
	}
	return nil
}

// said keeps what people said of a session's flights where that is recorded.
func (g *Gathering) said(ctx context.Context, b *batch.Batch) error {
	s, err := g.archive.Session(ctx, b.Session)
	if errors.Is(err, storage.ErrNoSession) && g.sessions[b.Session] != nil {
		return fmt.Errorf("keep what was said of flights: session %s is not in the archive yet", b.Session) // it comes again
	}
	if errors.Is(err, storage.ErrNoSession) || err == nil && s.Station != b.Station {
		g.log.Error().Str("station", b.Station).Str("session", b.Session).Msg("what was said of flights is passed over: no such session of the station is here")
		return nil
	}
	for _, v := range b.Voids {
		if err != nil {
			break
		}
		err = g.archive.TakeVoid(ctx, sqlite.Void{Session: b.Session, Rocket: v.Rocket, Flight: v.Flight, Void: v.Void, At: v.At, Why: v.Why})
	}
	return err
}

// change takes over that the station goes on with another configuration; a batch
// that has been here before changes nothing.
func (s *gathered) change(b *batch.Batch, entries []storage.Entry) error {
	if b.Info == nil || b.Info.Config == s.info.Config {
		return nil
	}
	i := slices.IndexFunc(entries, func(e storage.Entry) bool { return e.Frame != nil && e.Frame.N > s.frames[e.Frame.Link] })
	if i < 0 {
		return nil
	}
	if err := s.journal.Change(time.Duration(entries[i].Frame.Passed-1), b.Info.Config, b.Info.Links); err != nil {
		return fmt.Errorf("keep session %s: %w", s.info.Session, err)
	}
	s.info = s.journal.Info()
	return nil
}

// open opens a session's journal; nil if nothing more is to be taken of it.
func (g *Gathering) open(b *batch.Batch) (*gathered, error) {
	path := filepath.Join(g.dir, b.Session+journal.Suffix)
	if _, err := os.Stat(filepath.Join(g.dir, b.Session+journal.Packed)); err == nil {
		return nil, nil // it is over, and all of it is here
	}
	s := &gathered{frames: map[string]uint64{}, events: map[string]bool{}, alarms: alarm.Newest{}, closed: make(chan struct{})}
	r, err := journal.Open(path, nil)
	switch {
	case errors.Is(err, os.ErrNotExist) && b.Info == nil:
		g.log.Error().Str("station", b.Station).Str("session", b.Session).Int("frames", len(b.Frames)).
			Msg("the stream does not have the beginning of the session any more; frames before its next description are passed over")
		return nil, nil
	case errors.Is(err, os.ErrNotExist):
		s.first, s.info = *b.Info, *b.Info
		s.journal, err = journal.Create(g.dir, s.info)
	case err == nil:
		err = s.goOn(r, path)
	}
	if err != nil {
		return nil, err
	}
	g.follow(s)
	return s, nil
}

// goOn goes on with a journal of an earlier run.
func (s *gathered) goOn(r *journal.Reader, path string) error {
	defer r.Close() //nolint:errcheck // it was only read from
	s.first = r.Info()
	var events []*flight.Event
	for {
		e, err := r.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return err
		}
		s.isNew(&e)
		if e.Event != nil {
			events = append(events, e.Event)
		}
	}
	s.info = r.Info()
	var err error
	s.journal, err = journal.GoOn(path, s.info, r.Pos())
	if err == nil {
		for _, e := range events {
			s.journal.Had(e)
		}
	}
	return err
}

// follow starts what brings the session's journal into the archive.
func (g *Gathering) follow(s *gathered) {
	ctx, stop := context.WithCancel(g.ctx)
	g.running.Go(func() {
		_ = s.journal.Run(ctx, func(err error) { g.log.Error().Err(err).Msg("the journal of a session") })
	})
	g.running.Go(func() {
		defer stop()
		if err := g.archiveOf(ctx, s); err != nil {
			g.log.Error().Err(err).Str("session", s.first.Session).Msg("the session is not all in the archive; the journal has it, and the next start goes on with it")
		}
	})
}

// writer is the follower of a session; its configuration came with it.
func (g *Gathering) writer(s *gathered) (*sqlite.Writer, error) {
	cfg, err := config.Parse("configuration of session "+s.first.Session, []byte(s.first.Config))
	if err != nil {
		return nil, err
	}
	decoder, err := newFollowing(cfg, config.Parse)
	if err != nil {
		return nil, err
	}
	_, err = g.archive.Session(g.ctx, s.first.Session)
	if errors.Is(err, storage.ErrNoSession) {
		err = g.archive.StartSession(g.ctx, describe(s.first, cfg))
	}
	if err != nil {
		return nil, err
	}
	w, err := sqlite.NewWriter(g.ctx, g.archive, s.journal, decoder)
	if err == nil {
		w.CommitEvery(gatherCommit)
	}
	return w, err
}

// archiveOf follows a session until its journal is closed, and puts it away if it
// is over.
func (g *Gathering) archiveOf(ctx context.Context, s *gathered) error {
	w, err := g.writer(s)
	if err == nil {
		err = w.Run(ctx)
	}
	select { // with an error it may still be written
	case <-s.closed:
	case <-ctx.Done():
	}
	if err = errors.Join(err, s.journal.Release()); err != nil || ctx.Err() != nil || !s.over {
		return err
	}
	if s.ended > 0 {
		if err := g.archive.EndSession(ctx, s.first.Session, s.first.Epoch.Add(s.ended)); err != nil {
			return err
		}
	}
	_, err = journal.Pack(ctx, s.journal.Path())
	return err
}

// isNew says whether the session had an entry not yet, and notes that it has.
func (s *gathered) isNew(e *storage.Entry) bool {
	switch {
	case e.Frame != nil:
		last := s.frames[e.Frame.Link]
		if e.Frame.N <= last {
			return false
		}
		s.missing += e.Frame.N - last - 1
		s.frames[e.Frame.Link] = e.Frame.N
	case e.Event != nil:
		if s.events[e.Event.ID] {
			return false
		}
		s.events[e.Event.ID] = true
	case e.Alarm != nil:
		return s.alarms.Take(e.Alarm)
	}
	return true
}

// write puts what is new into the session's journal, and that on the disk.
func (g *Gathering) write(s *gathered, entries []storage.Entry) error {
	before := s.missing
	var frames []ingest.Frame
	var errs []error
	for i := range entries {
		e := &entries[i]
		if !s.isNew(e) {
			continue
		}
		if e.Frame != nil {
			frames = append(frames, *e.Frame)
			continue
		}
		if len(frames) > 0 {
			s.journal.Frames(frames)
			frames = frames[:0]
		}
		if e.Event != nil {
			errs = append(errs, s.journal.Event(e.Event))
		} else {
			errs = append(errs, s.journal.Alarm(e.Alarm))
		}
	}
	if len(frames) > 0 {
		s.journal.Frames(frames)
	}
	if n := s.missing - before; n > 0 {
		g.log.Warn().Str("station", s.info.Station).Str("session", s.info.Session).Uint64("frames", n).Msg("frames of the session are missing: neither the station nor the stream has them any more")
	}
	// What found no room waits in the journal and is not taken twice; the batch
	// comes again until it is there.
	if s.journal.Retry(); s.journal.State().Waiting > 0 {
		errs = append(errs, fmt.Errorf("keep session %s: %w", s.info.Session, s.journal.State().Trouble))
	}
	return errors.Join(append(errs, s.journal.Sync())...)
}
