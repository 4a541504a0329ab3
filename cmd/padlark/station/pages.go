package station

import (
	"context"
	"fmt"
	"io"
	"net"
	"sync"
	"sync/atomic"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"golang.org/x/sync/errgroup"

	"padlark/cmd/padlark/config"
	"padlark/cmd/padlark/ready"
	"padlark/storage"
	"padlark/storage/export"
	"padlark/storage/results"
	"padlark/storage/sqlite"
	"padlark/watch"
	"padlark/web"
	"padlark/web/wire"
)

// startPages serves the pages beside the running line and returns their address.
func (s *station) startPages(ctx context.Context, g *errgroup.Group) (string, error) {
	work := results.New(s.archive).Keeping()
	archive := wire.NewArchive(s.archive, work, func() string { return s.session.ID })
	flights := wire.Flights{Results: work, Archive: s.archive}
	registry := prometheus.NewRegistry()
	if err := registry.Register(recording{s}); err != nil {
		return "", fmt.Errorf("register metrics: %w", err)
	}
	access, made, err := crewAccess(s.cfg)
	if err != nil {
		return "", err
	}
	secure, err := pagesTLS(s.cfg, s.now())
	if err != nil {
		return "", err
	}
	var address atomic.Value // string; the server asks for it once it listens
	srv, err := web.New(web.Options{
		Registry: registry,
		Listen:   s.cfg.Web.Listen, Station: s.cfg.Station.Name, Reader: s.cfg.Station.Reader(), Version: s.opt.Version,
		Access: access, TLS: secure, Passphrase: made,
		Address: func() string { a, _ := address.Load().(string); return a },
		Rockets: s.cfg.Rockets, Site: s.cfg.Site,
		Archive: archive, Notes: archive, Checkups: archive,
		Flights:    flights,
		Voids:      flights,
		Corrector:  flights,
		Sounder:    sounders{s.live.Load, s.archive, s.opt.Version, new(sync.Mutex)},
		Config:     s,
		Live:       wire.Live{Bus: s.bus, Log: s.log},
		Acker:      acker{wire.Acker{Watcher: s.watcher, Session: s.session.ID, Now: s.now}, s.own},
		Exporter:   exporter{s.archive},
		Copier:     s.copier(),
		Uplink:     s.uplinker(),
		Keys:       keys,
		NewMachine: s.newMachine,
		Ready: func(ctx context.Context) []web.Finding {
			synced, _ := SystemClock()
			return ready.Run(ctx, s.live.Load(), ready.Options{Running: true, Now: s.now(), Synced: synced})
		},
		Guess:   s.guess,
		Clock:   s.webClock(),
		Now:     s.now,
		Healthy: s.healthy,
		Log:     s.log,
	})
	if err != nil {
		return "", err
	}
	s.pages = srv
	g.Go(func() error { return archive.Run(ctx) })
	g.Go(func() error { return srv.Run(ctx) })
	g.Go(func() error {
		workAhead(ctx, work, s.log, s.flying)
		return nil
	})
	addr, err := srv.Addr(ctx)
	if err != nil {
		// Run has failed, and its error is the one to tell: it comes out of g.
		return "", nil
	}
	own, err := net.InterfaceAddrs()
	if err != nil {
		s.log.Warn().Err(err).Msg("this computer's addresses cannot be listed")
	}
	scheme := "http://"
	if secure != nil {
		scheme = "https://"
	}
	s.passphrase = made
	address.Store(scheme + typable(addr, own) + "/")
	return scheme + typable(addr, own) + "/", nil
}

// keys is the reference of the configuration, or what a word finds in it.
func keys(word string) ([]web.Key, error) {
	all, err := config.Keys()
	if word != "" {
		all = config.Find(all, word)
	}
	out := make([]web.Key, len(all))
	for i, k := range all {
		out[i] = web.Key(k)
	}
	return out, err
}

// now is session time.
func (s *station) now() time.Time { return s.clock.At(s.clock.Now()) }

// healthy says what is wrong with the recording, nil if nothing is.
func (s *station) healthy() error {
	state, _ := s.writer.State()
	if state.Trouble != nil {
		return fmt.Errorf("since %s nothing is archived: %w", state.Since.Local().Format(time.TimeOnly), state.Trouble)
	}
	if s.archiveGone() {
		return fmt.Errorf("nothing stays archived: %s has been removed; start padlark again when nothing flies", s.archive.Path())
	}
	return nil
}

// newMachine makes what computes a replay's picture, with the configuration
// that the session was recorded with.
func (s *station) newMachine(ctx context.Context, one web.Session) (*watch.Engine, error) {
	return recordedMachine(ctx, s.archive, one)
}

func recordedMachine(ctx context.Context, a *sqlite.Archive, one web.Session) (*watch.Engine, error) {
	rec, err := a.Session(ctx, one.ID)
	if err != nil {
		return nil, err
	}
	return recordedEngine(rec)
}

func recordedEngine(rec storage.Session) (*watch.Engine, error) {
	cfg, err := config.Parse("configuration recorded with session "+rec.ID, []byte(rec.Config))
	if err != nil {
		return nil, err
	}
	// Readers of the archive give corrected times, so the epoch is corrected too.
	e, err := watch.NewEngine(cfg.Watch(rec.ID, rec.Corrected(rec.Epoch)))
	if err != nil {
		return nil, err
	}
	later, err := laterConfigs(rec)
	if err != nil {
		return nil, err
	}
	return e, plan(e, rec, later)
}

// laterConfig is what a session has come to at a moment, in ns since its epoch.
type laterConfig struct {
	at  int64
	cfg *config.Config
}

func laterConfigs(rec storage.Session) ([]laterConfig, error) {
	var out []laterConfig
	for _, c := range rec.Changes {
		cfg, err := config.Parse("configuration that session "+rec.ID+" has come to", []byte(c.Config))
		if err != nil {
			return nil, err
		}
		out = append(out, laterConfig{c.At, cfg})
	}
	return out, nil
}

// plan tells an engine of the configurations that a session has come to.
func plan(e *watch.Engine, rec storage.Session, later []laterConfig) error {
	var all []watch.Change
	for _, c := range later {
		all = append(all, watch.Change{At: c.at, Config: c.cfg.Watch(rec.ID, rec.Epoch)})
	}
	return e.Plan(all)
}

// acker acknowledges alarms of the rockets and of the station.
type acker struct {
	wire.Acker
	own *ownAlarms
}

// Ack acknowledges one alarm of the running session.
func (a acker) Ack(ctx context.Context, session, alarm string) error {
	if session == a.Session && a.own.Ack(alarm) {
		return nil
	}
	return a.Acker.Ack(ctx, session, alarm)
}

// exporter writes a flight's samples for a download.
type exporter struct{ archive *sqlite.Archive }

// Export writes one flight in a format of package export.
func (e exporter) Export(ctx context.Context, w io.Writer, id web.FlightID, format string) error {
	write, err := export.Lookup(format)
	if err != nil {
		return err
	}
	_, err = write(ctx, w, e.archive, storage.Query{Session: id.Session, Rocket: id.Rocket, Flight: id.Flight})
	return err
}
