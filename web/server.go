package web

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"net/http"
	"sync/atomic"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/rs/zerolog"
	"golang.org/x/sync/errgroup"

	"padlark/flight"
	"padlark/flight/alarm"
	"padlark/flight/phrase"
	"padlark/storage"
	"padlark/watch"
)

// Options are the parts that a Server reads through. Archive, Flights and Live
// must be given; a page that lacks one of the others says so.
type Options struct {
	Listen string // host:port; empty is 127.0.0.1:9700, port 0 picks a free one
	Access Access
	// TLS, if given, is what the pages are served with.
	TLS *tls.Config
	// Address tells where other devices reach the pages; may be nil.
	Address func() string
	// Passphrase is the crew's in plain text if the station made it: the page that
	// lets phones in shows it to the crew.
	Passphrase string
	Station    string
	// Reader has the language of browsers that ask for none of ours, and the units
	// where nobody chose.
	Reader  phrase.Reader
	Version string
	Rockets []flight.Rocket // as configured: shown before anything is heard of them
	Site    flight.Site

	Archive   Archive
	Flights   Flights
	Live      Live
	Acker     Acker
	Notes     Notes
	Voids     Voids
	Corrector Corrector
	Sounder   Sounder
	Checkups  Checkups
	Clock     Clock
	Exporter  Exporter
	Copier    Copier   // nil where nothing is copied to a time-series server
	Uplink    Uplinker // nil where nothing is sent to an outside server
	// Guess proposes a layout for what a link hears; nil where no link is live.
	Guess  func(link string) (LinkGuess, error)
	Config Configurer
	// Ready looks at the computer that the station runs on; may be nil.
	Ready func(ctx context.Context) []Finding
	// Keys gives the keys of the configuration that a word is in, all if it is empty;
	// may be nil.
	Keys func(word string) ([]Key, error)
	// NewMachine makes what computes a replay's picture.
	NewMachine func(ctx context.Context, s Session) (*watch.Engine, error)

	// Now is session time; time.Now if not given.
	Now func() time.Time
	// Healthy returns nil while the rest of the station is well; may be nil.
	Healthy func() error
	// Registry takes the metrics; a new one if nil.
	Registry *prometheus.Registry
	Log      zerolog.Logger
}

// DefaultListen is where the pages are when the configuration does not say.
const DefaultListen = "127.0.0.1:9700"

// Server serves the pages and the API. Make one with New, serve with Run.
type Server struct {
	opt      Options
	gate     *gate
	hub      *hub
	columns  *columnCache
	assets   *assets
	pages    pages
	metrics  *metrics
	conns    *connTable
	shares   *shares
	replays  *shares
	troubles troubles
	ready    looker
	guesser  guesser
	stopping chan struct{}

	configured atomic.Pointer[configured]

	handler http.Handler
	addr    chan net.Addr
}

// New checks the options and builds the server. It opens nothing yet.
func New(opt Options) (*Server, error) {
	if opt.Archive == nil || opt.Flights == nil || opt.Live == nil {
		return nil, errors.New("build web server: archive, flights and live must be given")
	}
	if opt.Listen == "" {
		opt.Listen = DefaultListen
	}
	if opt.Now == nil {
		opt.Now = time.Now
	}
	if opt.Registry == nil {
		opt.Registry = prometheus.NewRegistry()
	}
	g, err := newGate(opt.Access, opt.Listen)
	if err != nil {
		return nil, err
	}
	s := &Server{
		opt: opt, gate: g, hub: newHub(opt.Rockets), columns: newColumnCache(),
		conns: newConnTable(g.isKnown), shares: newShares(maxViewers, viewersForCrew, viewersEach, maxViewers/2),
		replays:  newShares(maxReplays, replaysForCrew, replaysEach, maxReplays),
		ready:    looker{run: opt.Ready},
		stopping: make(chan struct{}), addr: make(chan net.Addr, 1),
	}
	s.configured.Store(&configured{opt.Rockets, opt.Site})
	if s.assets, err = loadAssets(); err != nil {
		return nil, err
	}
	if s.pages, err = loadPages(s.assets); err != nil {
		return nil, err
	}
	if s.metrics, err = newMetrics(s); err != nil {
		return nil, err
	}
	s.handler = s.routes()
	return s, nil
}

// Handler serves everything, access rules included.
func (s *Server) Handler() http.Handler { return s.handler }

// Addr waits until the server listens and tells where; for port 0 in tests.
func (s *Server) Addr(ctx context.Context) (net.Addr, error) {
	select {
	case a := <-s.addr:
		s.addr <- a
		return a, nil
	case <-ctx.Done():
		return nil, fmt.Errorf("wait for the web server to listen: %w", ctx.Err())
	}
}

// Run listens and serves until ctx ends, then lets requests finish for a
// moment. It returns nil when ctx ended it. Call it once.
func (s *Server) Run(ctx context.Context) error {
	var lc net.ListenConfig
	l, err := lc.Listen(ctx, "tcp", s.opt.Listen)
	if err != nil {
		return fmt.Errorf("listen for the pages on %s: %w; is another padlark running? set listen in [web]", s.opt.Listen, err)
	}
	stopWatching, err := s.Watch(ctx)
	if err != nil {
		_ = l.Close() // the error before it is the one that counts
		return err
	}
	defer stopWatching()
	s.addr <- l.Addr()

	srv := &http.Server{
		Handler:           s.handler,
		ReadHeaderTimeout: 10 * time.Second,
		IdleTimeout:       30 * time.Second,
		MaxHeaderBytes:    32 << 10,
		ConnContext:       smallWriteBuffer,
		ConnState:         s.conns.state,
	}
	g, gctx := errgroup.WithContext(ctx)
	g.Go(func() error {
		var in net.Listener = boundListener{l, s.conns}
		if s.opt.TLS != nil {
			in = tls.NewListener(in, s.opt.TLS)
		}
		if err := srv.Serve(in); !errors.Is(err, http.ErrServerClosed) {
			return fmt.Errorf("serve the pages: %w", err)
		}
		return nil
	})
	g.Go(func() error {
		<-gctx.Done()
		close(s.stopping) // the live streams end first, they would never by themselves
		grace, cancel := context.WithTimeout(context.WithoutCancel(ctx), 3*time.Second)
		defer cancel()
		if err := srv.Shutdown(grace); err != nil {
			_ = srv.Close() // whoever is left is cut off
		}
		return nil
	})
	return g.Wait()
}

// Watch begins to follow Live and takes over what the archive knows of the
// running session, so that an alarm raised before a restart is on the board
// after it. Run calls it; tests that use only Handler call it themselves.
func (s *Server) Watch(ctx context.Context) (stop func(), err error) {
	stop, err = s.opt.Live.Watch(s.hub.apply)
	if err != nil {
		return nil, fmt.Errorf("follow the bus: %w", err)
	}
	if err := s.recall(ctx); err != nil {
		stop()
		return nil, err
	}
	return stop, nil
}

// recall loads the running session's alarms and events from the archive.
func (s *Server) recall(ctx context.Context) error {
	sessions, err := s.opt.Archive.Sessions(ctx)
	if err != nil {
		return fmt.Errorf("recall sessions: %w", err)
	}
	for i := range sessions {
		if !sessions[i].Live {
			continue
		}
		q := storage.Query{Session: sessions[i].ID}
		alarms, err := s.opt.Archive.Alarms(ctx, q)
		if err != nil {
			return fmt.Errorf("recall alarms: %w", err)
		}
		newest := alarm.Newest{}
		for k := range alarms {
			newest.Take(&alarms[k])
		}
		for _, a := range newest.List() {
			s.hub.apply(Message{Alarm: &a})
		}
		events, err := s.opt.Archive.Events(ctx, q)
		if err != nil {
			return fmt.Errorf("recall events: %w", err)
		}
		for k := range events {
			s.hub.apply(Message{Event: &events[k]})
		}
	}
	return nil
}

// smallWriteBuffer keeps the system from queueing seconds of live data for a
// slow phone: what waits there is old by the time it arrives.
func smallWriteBuffer(ctx context.Context, c net.Conn) context.Context {
	if secure, ok := c.(*tls.Conn); ok {
		c = secure.NetConn()
	}
	if b, ok := c.(*boundConn); ok {
		ctx, c = context.WithValue(ctx, connKey{}, b), b.Conn
	}
	if tcp, ok := c.(*net.TCPConn); ok {
		_ = tcp.SetWriteBuffer(64 << 10) // a hint: without it the board is only less fresh
	}
	return ctx
}
