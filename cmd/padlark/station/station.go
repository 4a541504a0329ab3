package station

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"github.com/rs/zerolog"
	"golang.org/x/sync/errgroup"

	"padlark/bus"
	"padlark/cmd/padlark/config"
	"padlark/decode"
	"padlark/ingest"
	"padlark/storage/influx"
	"padlark/storage/sqlite"
	"padlark/watch"
)

// drainTime is how long the line may take to empty itself when it stops, and
// drainRecorded when it has been fed as fast as it could be.
const (
	drainTime     = 30 * time.Second
	drainRecorded = 5 * time.Minute
)

// Options says how to run a station.
type Options struct {
	Config  *config.Config
	Log     zerolog.Logger
	Version string
	// Capture names a file to which every chunk that is heard is written, with
	// its time; empty for none.
	Capture string
	// Stdin is what a link with stdin = true reads.
	Stdin io.Reader
	// Opening, if set, is called again and again, every five seconds or so, while
	// the line takes long to open, on a goroutine that ends before Ready is called.
	Opening func()
	// Ready, if set, is called once, when the line is open, with what viewers
	// need. The bus must not be used after Run has returned.
	Ready func(Info)
}

// Info is what a started station tells its caller.
type Info struct {
	Session string
	Data    string
	Pages   string // address of the pages, empty if there are none
	Bus     *bus.Bus
	Resumed bool // the session that a crash or a power cut had interrupted goes on
	// Recorded says that captures are read at full speed, on their own time.
	Recorded bool
}

// station is one running line.
type station struct {
	opt     Options
	cfg     *config.Config
	log     zerolog.Logger
	archive *sqlite.Archive
	bus     *bus.Bus
	session sqlite.Session
	resumed bool
	clock   ingest.Clock
	links   *links
	seq     *sequencer
	engine  *watch.Engine
	watcher *watch.Watcher
	copy    *influx.Writer // nil if none is configured
	writer  *sqlite.Writer
	disk    *diskAlarm
	fix     *clockFix // nil on a recording's own time
}

// Run opens the line, runs it until ctx ends or every recorded link has been
// read to its end, and closes it with everything committed.
func Run(ctx context.Context, opt Options) error {
	favourLatency(opt.Log)
	s := &station{opt: opt, cfg: opt.Config, log: opt.Log}
	err := s.open(ctx)
	switch {
	case err == nil:
		err = s.run(ctx)
	case ctx.Err() != nil:
		s.log.Info().Err(err).Msg("stopped before it was up, as asked")
		err = nil
	}
	return errors.Join(err, s.close())
}

// open makes everything ready that can fail, before a byte is read.
func (s *station) open(ctx context.Context) error {
	dir := s.cfg.Station.Data
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("make data folder: %w", err)
	}
	var err error
	// The captures first: whether there are any decides how the archive is kept.
	if s.links, err = openLinks(s.opt); err != nil {
		return err
	}
	if s.archive, err = sqlite.Open(ctx, filepath.Join(dir, sqlite.FileName), sqlite.Options{NoSync: s.recorded(), Reserve: roomReserve, Tell: s.opening}); err != nil {
		return err
	}
	busOpt, err := busOptions(s.cfg, s.log)
	if err != nil {
		return err
	}
	if s.bus, err = bus.Open(ctx, busOpt); err != nil {
		return err
	}
	s.writer = sqlite.NewWriter(s.archive, s.bus)
	return s.openSession(ctx)
}

// opening tells that the archive takes long to open, and why.
func (s *station) opening(line string) {
	s.log.Info().Msg(line)
	if s.opt.Opening != nil {
		s.opt.Opening()
	}
}

// openSession starts a session, or goes on with the one that was interrupted.
func (s *station) openSession(ctx context.Context) error {
	if err := s.startOrResume(ctx); err != nil {
		return err
	}
	if err := s.links.connect(s.clock); err != nil {
		return err
	}
	decoder, err := newDecoder(s.cfg)
	if err != nil {
		return err
	}
	if s.engine, err = watch.NewEngine(engineConfig(s.cfg, s.session.ID, s.clock.Epoch)); err != nil {
		return err
	}
	s.seq = &sequencer{
		session: s.session.ID, epoch: s.clock.Epoch, out: s.bus, decoder: decoder, stats: s.links.counter,
	}
	if s.resumed {
		if err := s.rebuild(ctx); err != nil {
			return err
		}
	}
	if err := s.openDiskAlarm(ctx); err != nil {
		return err
	}
	if !s.recorded() {
		s.fix = s.newClockFix()
		s.seq.heard = s.fix.frame
	}
	s.watcher = watch.New(s.bus, s.engine, s.log)
	s.seq.watch = s.watcher
	return nil
}

// recorded says whether the links are captures, read on their own time.
func (s *station) recorded() bool { return s.links.merge != nil }

// run starts the subscribers, then the line, and stops them in the other order.
func (s *station) run(ctx context.Context) error {
	subs, stopSubs := context.WithCancel(context.WithoutCancel(ctx))
	defer stopSubs()
	g, gctx := errgroup.WithContext(subs)
	pages, err := s.startExtras(gctx, g)
	if err != nil {
		stopSubs()
		return errors.Join(err, g.Wait())
	}
	g.Go(func() error { return s.writer.Run(gctx) })
	g.Go(func() error { return s.watcher.Run(gctx) })
	g.Go(func() error { return s.keepRoom(gctx) })
	if s.fix != nil {
		g.Go(func() error { return s.fix.run(gctx, s.cfg.Station.Data) })
	}
	if s.opt.Ready != nil {
		s.opt.Ready(Info{Session: s.session.ID, Data: s.cfg.Station.Data, Pages: pages, Bus: s.bus, Resumed: s.resumed, Recorded: s.recorded()})
	}
	// The line ends with ctx, or when a subscriber has failed.
	lineCtx, stopLine := context.WithCancel(ctx)
	stopWatching := context.AfterFunc(gctx, stopLine)
	lineErr := s.runLine(lineCtx)
	stopWatching()
	stopLine()
	drainErr := s.drain(context.WithoutCancel(ctx))
	stopSubs()
	return errors.Join(lineErr, g.Wait(), drainErr)
}

// drain waits until all that was heard has been watched and archived.
func (s *station) drain(ctx context.Context) error {
	limit := drainTime
	if s.recorded() {
		limit = drainRecorded
	}
	ctx, cancel := context.WithTimeout(ctx, limit)
	defer cancel()
	if err := watched(ctx, s.seq, s.watcher, time.Duration(s.seq.passed)); err != nil {
		return err
	}
	if err := s.bus.Flush(ctx); err != nil {
		return fmt.Errorf("empty the bus queue: %w", err)
	}
	if err := s.writer.Drain(ctx, s.bus.LastSeq()); err != nil {
		return err
	}
	return s.archive.EndSession(ctx, s.session.ID, s.clock.At(time.Duration(s.seq.passed)))
}

// watched lets time come to at and waits until the watcher has seen all up to
// there.
func watched(ctx context.Context, seq *sequencer, w *watch.Watcher, at time.Duration) error {
	if err := seq.tick(ctx, at); err != nil {
		return fmt.Errorf("send the last tick: %w", err)
	}
	return w.WaitFor(ctx, seq.sampled, seq.passed)
}

// close releases what open opened, in the other order.
func (s *station) close() error {
	var errs []error
	if s.links != nil {
		errs = append(errs, s.links.close())
	}
	if s.bus != nil {
		errs = append(errs, s.bus.Close())
	}
	if s.archive != nil {
		errs = append(errs, s.archive.Close())
	}
	return errors.Join(errs...)
}

// engineConfig is what the watcher needs of a configuration.
func engineConfig(c *config.Config, session string, epoch time.Time) watch.Config {
	return watch.Config{Session: session, Epoch: epoch, Rockets: c.Rockets, Site: c.Site, Thresholds: c.Alarm}
}

// newDecoder makes a decoder for all links of a configuration.
func newDecoder(c *config.Config) (*decode.Decoder, error) {
	dc := decode.Config{Layouts: c.Layouts}
	for _, l := range c.Links {
		dc.Links = append(dc.Links, decode.LinkLayouts{Link: l.Name, Layouts: []string{l.Layout}, Rocket: l.Rocket})
	}
	for _, r := range c.Rockets {
		dc.Rockets = append(dc.Rockets, decode.RocketID{ID: r.ID, Name: r.Name})
	}
	d, err := decode.New(dc)
	if err != nil {
		return nil, fmt.Errorf("make decoder: %w", err)
	}
	return d, nil
}
