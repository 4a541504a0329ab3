package station

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"sync"
	"sync/atomic"
	"syscall"
	"time"

	"github.com/rs/zerolog"
	"golang.org/x/sync/errgroup"

	"padlark/bus"
	"padlark/cmd/padlark/config"
	"padlark/decode"
	"padlark/flight"
	"padlark/ingest"
	"padlark/storage"
	"padlark/storage/influx"
	"padlark/storage/journal"
	"padlark/storage/sqlite"
	"padlark/watch"
	"padlark/web"
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
	// ConfigFile is the file of Config, and Load reads it again when Reload is
	// received from or somebody asks on the pages; Reloaded, if set, is called with
	// what was taken over. Without Load the configuration stays what it is.
	ConfigFile string
	Load       func() (*config.Config, error)
	Reload     <-chan os.Signal
	Reloaded   func(*config.Config)
	// Ready, if set, is called once, when the line is open, with what viewers
	// need. The bus must not be used after Run has returned.
	Ready func(Info)
}

// Info is what a started station tells its caller.
type Info struct {
	Session string
	Data    string
	Pages   string // address of the pages, empty if there are none
	// Passphrase is that of the pages if the station made it.
	Passphrase string
	Bus        *bus.Bus
	Resumed    bool // the session that a crash or a power cut had interrupted goes on
	// Recorded says that captures are read at full speed, on their own time.
	Recorded bool
}

// station is one running line.
type station struct {
	opt     Options
	cfg     *config.Config                // of the start: where data, bus and pages are
	live    atomic.Pointer[config.Config] // as it is now, see reload
	began   *config.Config                // with which the session's journal begins
	log     zerolog.Logger
	archive *sqlite.Archive
	// passphrase is that of the pages if the station made it.
	passphrase string
	bus        *bus.Bus
	journal    *journal.Journal
	out        outlet
	session    storage.Session
	resumed    bool
	rebuilt    *rebuilt // of a session that goes on
	clock      ingest.Clock
	links      *links
	seq        *sequencer
	watcher    *watch.Watcher
	copy       *influx.Writer // nil if none is configured
	uplink     *sender        // nil if none is configured
	writer     *sqlite.Writer
	own        *ownAlarms
	pages      *web.Server // nil if there are none
	caller     atomic.Pointer[caller]
	callAs     func(*config.Config) // calls out as another configuration says
	reloading  sync.Mutex           // one reload at a time
	fix        *clockFix            // nil on a recording's own time

	toPack []string // journals of earlier sessions, all in the archive
	over   bool     // the session was a recording's, and has ended for good
}

func newStation(opt Options) *station {
	s := &station{opt: opt, cfg: opt.Config, began: opt.Config, log: opt.Log}
	s.live.Store(opt.Config)
	return s
}

// Run opens the line, runs it until ctx ends or every recorded link has been
// read to its end, and closes it with everything committed. The next start goes on
// with the session, if it comes soon and nothing was recorded.
func Run(ctx context.Context, opt Options) error {
	fitMachine(opt.Log)
	s := newStation(opt)
	err := s.open(ctx)
	if damaged(err) && ctx.Err() == nil {
		// It shows in a part that the opening of the archive does not read.
		if s, err = s.again(err); err == nil {
			err = s.open(ctx)
		}
	}
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
	if err := os.MkdirAll(s.cfg.Station.Data, 0o755); err != nil {
		return fmt.Errorf("make data folder: %w", err)
	}
	var err error
	// The captures first: whether there are any decides how the archive is kept.
	if s.links, err = openLinks(s.opt); err != nil {
		return err
	}
	if err := s.openArchive(ctx); err != nil {
		return err
	}
	busOpt, err := busOptions(s.cfg, s.log)
	if err != nil {
		return err
	}
	if s.bus, err = bus.Open(ctx, busOpt); err != nil {
		return err
	}
	if err := s.startOrResume(ctx); err != nil {
		return err
	}
	if _, anew, err := s.asides(); err != nil || !anew {
		if _, err := s.bringIn(ctx, false); err != nil {
			return err
		}
	}
	return s.openLine(ctx)
}

// begin announces the session to the archive and to the next start. On a full
// disk neither is possible; the journal's header has it all.
func (s *station) begin(ctx context.Context) error {
	s.out = newOutlet(s.bus, s.journal)
	err := s.archive.StartSession(ctx, s.session)
	if err == nil && !s.recorded() {
		err = s.keepCurrent()
	}
	if errors.Is(err, sqlite.ErrFull) || errors.Is(err, syscall.ENOSPC) {
		s.log.Error().Err(err).Msg("the session begins without the archive")
		return nil
	}
	return err
}

// openLine makes what frames pass through.
func (s *station) openLine(ctx context.Context) error {
	if err := s.links.connect(s.clock, s.bus); err != nil {
		return err
	}
	follower, err := newFollowing(s.began, config.ParseHere)
	if err != nil {
		return err
	}
	line, err := s.cfg.Line(s.session.ID, s.clock.Epoch)
	if err != nil {
		return err
	}
	if s.rebuilt != nil {
		line = s.rebuilt.Line
	}
	s.seq = &sequencer{
		session: s.session.ID, epoch: s.clock.Epoch, journal: s.journal, out: s.bus, decoder: line.Decoder, stats: s.links.counter,
	}
	if b := s.rebuilt; b != nil {
		s.seq.before = b.frames
		s.seq.passed, s.seq.stamped, s.seq.sampled, s.seq.mark = b.last, b.last, b.sampled, b.sampled
		if err := s.out.Record(b.unsaid()); err != nil {
			return err
		}
		line.Engine.Restore(b.alarms.List())
		s.out.standing.restore(b.newest())
	}
	if s.writer, err = sqlite.NewWriter(ctx, s.archive, s.journal, follower); err != nil {
		return err
	}
	s.spareDecoding(s.writer)
	s.openAlarms()
	if !s.recorded() {
		s.fix = s.newClockFix()
		s.seq.heard = s.fix.frame
	}
	s.watcher = watch.New(s.out, line.Engine, s.log)
	s.watcher.Fill = s.fill
	s.seq.watch = s.watcher
	return nil
}

// fill reads the session's samples between two moments out of its journal.
func (s *station) fill(after, before int64, fn func(*decode.Sample) error) error {
	d, err := newFollowing(s.began, config.ParseHere)
	if err != nil {
		return err
	}
	learnt := s.loadLearnt(s.journal.Path())
	if learnt != nil && learnt.last <= after {
		d.Decoder = learnt.Decoder
	} else {
		learnt = nil
	}
	r, err := journal.Open(s.journal.Path(), d)
	if err != nil {
		return err
	}
	defer r.Close() //nolint:errcheck // it was only read from
	if learnt != nil {
		if err := r.GoOnFrom(learnt.end, learnt.now); err != nil {
			return err
		}
	}
	for {
		e, err := r.Next()
		if errors.Is(err, io.EOF) || err == nil && e.Frame != nil && e.Frame.Passed >= before {
			return nil
		}
		if err == nil && e.Sample != nil && e.Sample.Passed > after {
			err = fn(e.Sample)
			for i := 0; i < len(e.More) && err == nil; i++ {
				err = fn(&e.More[i])
			}
		}
		if err != nil {
			return err
		}
	}
}

// flying says whether a rocket is in the air, of those that are configured where any
// is: a stranger's keeps nothing from being done.
func (s *station) flying() bool {
	rockets := s.live.Load().Rockets
	return s.journal.Flies(func(rocket string) bool {
		_, known := flight.RocketNamed(rockets, rocket)
		return known || len(rockets) == 0
	})
}

// recorded says whether the links are captures, read on their own time.
func (s *station) recorded() bool { return s.links.merge != nil }

// run starts the followers and the watch, then the line, and stops them in the
// other order.
func (s *station) run(ctx context.Context) error {
	subs, stopSubs := context.WithCancel(context.WithoutCancel(ctx))
	defer stopSubs()
	g, gctx := errgroup.WithContext(subs)
	pages, err := s.startExtras(gctx, g)
	if err == nil {
		err = s.watcher.Start(s.bus)
	}
	if err != nil {
		stopSubs()
		return errors.Join(err, g.Wait())
	}
	defer s.watcher.Stop()
	g.Go(func() error { return s.runWriter(gctx) })
	g.Go(func() error { return s.journal.Run(gctx, s.journalTrouble) })
	g.Go(func() error { return s.keepRoom(gctx) })
	g.Go(func() error { return s.makeAnew(gctx) })
	g.Go(func() error { return s.keepLearnt(gctx) })
	g.Go(func() error { return s.hangups(gctx) })
	if s.fix != nil {
		g.Go(func() error { return s.fix.run(gctx, s.cfg.Station.Data) })
	}
	if s.opt.Ready != nil {
		s.opt.Ready(Info{Session: s.session.ID, Data: s.cfg.Station.Data, Pages: pages, Passphrase: s.passphrase, Bus: s.bus, Resumed: s.resumed, Recorded: s.recorded()})
	}
	// The line ends with ctx, or when something beside it has failed.
	lineCtx, stopLine := context.WithCancel(ctx)
	stopWatching := context.AfterFunc(gctx, stopLine)
	lineErr := s.runLine(lineCtx)
	stopWatching()
	stopLine()
	drainErr := s.drain(ctx)
	stopSubs()
	return errors.Join(lineErr, g.Wait(), drainErr)
}

// drain waits until all that was heard has been watched and archived.
func (s *station) drain(stopped context.Context) error {
	limit := drainTime
	if s.recorded() {
		limit = drainRecorded
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(stopped), limit)
	defer cancel()
	end := s.clock.Now()
	if s.recorded() {
		end = time.Duration(s.seq.passed)
	}
	if err := watched(ctx, s.seq, s.watcher, end); err != nil {
		return err
	}
	if err := s.journal.Close(end); err != nil {
		return err
	}
	if s.over = s.recorded(); !s.over {
		s.log.Info().Msg("a start within ten minutes goes on with the session")
	}
	s.uplink.finish(ctx)
	if !s.drainArchive(ctx) {
		return nil
	}
	return s.archive.EndSession(ctx, s.session.ID, s.clock.At(end))
}

// drainArchive waits until the journal is in the archive; false if it cannot be,
// which has been told and which the next start makes good.
func (s *station) drainArchive(ctx context.Context) bool {
	err := s.writer.Drain(ctx, s.journal.State().End)
	if err != nil {
		s.log.Error().Err(err).Msg("the end of the session is not in the archive yet; the next start brings it there")
	}
	return err == nil
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
	if s.journal != nil {
		errs = append(errs, s.journal.Close(0), s.journal.Release())
	}
	if s.over {
		errs = append(errs, s.packLast())
	}
	return errors.Join(errs...)
}

// packTime is how long the end of a station may take to compress its journal;
// the next start does what is left.
const packTime = 5 * time.Second

// packLast compresses the journal of the session that is over.
func (s *station) packLast() error {
	if s.journal.State().Trouble != nil {
		return nil
	}
	ctx, cancel := context.WithTimeout(context.Background(), packTime)
	defer cancel()
	if _, err := journal.Pack(ctx, s.journal.Path()); err != nil && ctx.Err() == nil {
		return err
	}
	return nil
}
