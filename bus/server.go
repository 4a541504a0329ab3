package bus

import (
	"context"
	"crypto/rand"
	"crypto/subtle"
	"errors"
	"fmt"
	"net"
	"sync"
	"syscall"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/rs/zerolog"
)

// What a viewer from outside may cost: bytes that wait for one that is slow, and
// how many there may be.
const (
	pendingMost = 8 << 20
	viewersMost = 64
)

// embedded is the NATS server inside this process.
type embedded struct {
	srv     *server.Server
	account *server.Account // of all who connect
	opts    *server.Options
	log     *serverLog
	inner   string // what the station itself shows to be let in
}

func startServer(ctx context.Context, o Options) (*embedded, error) {
	e := &embedded{log: &serverLog{out: o.Log}, inner: rand.Text()}
	var err error
	if e.opts, err = serverOptions(o); err != nil {
		return nil, err
	}
	e.opts.CustomClientAuthentication = &gate{inner: e.inner, token: o.Token, publish: o.Publish, boards: o.Boards}
	if err := probeListen(o.Listen); err != nil {
		return nil, err
	}
	if e.srv, err = server.NewServer(e.opts); err != nil {
		return nil, fmt.Errorf("make bus server: %w", err)
	}
	e.account = e.srv.GlobalAccount()
	e.srv.SetLoggerV2(e.log, false, false, false)
	e.srv.Start()
	for wait := 10 * time.Second; !e.srv.ReadyForConnections(100 * time.Millisecond); wait -= 100 * time.Millisecond {
		err = ctx.Err()
		if msg := e.log.lastError(); msg != "" {
			err = errors.New(msg)
		} else if err == nil && wait <= 0 {
			err = errors.New("not ready after 10 s")
		}
		if err != nil {
			e.stop()
			return nil, fmt.Errorf("start bus server: %w", err)
		}
	}
	return e, nil
}

// connect is the station's own connection. It leads to the same process, so no
// write needs a timer.
func (e *embedded) connect(o Options) (*nats.Conn, error) {
	return nats.Connect("", nats.InProcessServer(e.srv), nats.Name("padlark "+o.Station), nats.Token(e.inner), nats.FlusherTimeout(0), silent())
}

// silent keeps the library's own line about a slow viewer off the
// terminal's display.
func silent() nats.Option {
	return nats.ErrorHandler(func(*nats.Conn, *nats.Subscription, error) {})
}

// listens says whether somebody wants messages of a subject.
func (e *embedded) listens(subject string) bool {
	return e.account.SubscriptionInterest(subject)
}

// others says whether anybody is connected but the station itself.
func (e *embedded) others() bool { return e.srv.NumClients() > 1 }

func (e *embedded) stop() {
	e.srv.Shutdown()
	e.srv.WaitForShutdown()
}

func serverOptions(o Options) (*server.Options, error) {
	host, port, err := o.listens()
	if port == 0 {
		port = server.RANDOM_PORT
	}
	return &server.Options{
		ServerName: "padlark-" + Token(o.Station),
		DontListen: o.Listen == "",
		Host:       host, Port: port, TLSConfig: o.TLS, TLS: o.TLS != nil,
		NoSigs:     true, // signals belong to the daemon
		MaxPending: pendingMost,
		MaxConn:    viewersMost,
	}, err
}

// gate lets the station in, and others as far as they may come.
type gate struct {
	inner, token string
	publish      []string
	boards       []Board
}

// Check says whether somebody may connect. A board publishes frames of its own link
// and hears nothing; viewers hear what is the station's and publish only where a link
// waits for anybody's. Nobody from outside hears or sends what is inside.
func (g *gate) Check(c server.ClientAuthentication) bool {
	o := c.GetOpts()
	if same(o.Token, g.inner) {
		c.RegisterUser(&server.User{Username: "station"})
		return true
	}
	for _, b := range g.boards {
		if same(o.Token, b.Token) {
			c.RegisterUser(&server.User{Username: "board", Permissions: &server.Permissions{
				Publish:   &server.SubjectPermission{Allow: []string{b.Subject}},
				Subscribe: &server.SubjectPermission{Deny: []string{">"}},
			}})
			return true
		}
	}
	if g.token != "" && !same(o.Token, g.token) {
		return false
	}
	publish := &server.SubjectPermission{Deny: []string{">"}}
	if len(g.publish) > 0 {
		publish = &server.SubjectPermission{Allow: g.publish}
	}
	c.RegisterUser(&server.User{Username: "viewer", Permissions: &server.Permissions{
		Publish:   publish,
		Subscribe: &server.SubjectPermission{Allow: []string{subjectRoot + ".>", "_INBOX.>"}},
	}})
	return true
}

func same(a, b string) bool { return subtle.ConstantTimeCompare([]byte(a), []byte(b)) == 1 }

// probeListen finds a port in use before the server does, which would only log
// it.
func probeListen(addr string) error {
	if addr == "" {
		return nil
	}
	l, err := net.Listen("tcp", addr)
	switch {
	case errors.Is(err, syscall.EADDRINUSE):
		return fmt.Errorf("open bus: [bus] listen %s is in use by another program; choose another port", addr)
	case errors.Is(err, syscall.EACCES):
		return fmt.Errorf("open bus: [bus] listen %s is not permitted; choose a port above 1023", addr)
	case err != nil:
		return fmt.Errorf("open bus: [bus] listen %s: %w", addr, err)
	}
	return l.Close()
}

// serverLog passes the server's warnings and errors on and remembers the last.
type serverLog struct {
	out zerolog.Logger
	mu  sync.Mutex
	err string
}

func (l *serverLog) Noticef(string, ...any) {}
func (l *serverLog) Debugf(string, ...any)  {}
func (l *serverLog) Tracef(string, ...any)  {}

func (l *serverLog) Warnf(format string, v ...any) {
	l.out.Warn().Str("part", "bus server").Msgf(format, v...)
}

func (l *serverLog) Errorf(format string, v ...any) { l.keep(format, v...) }
func (l *serverLog) Fatalf(format string, v ...any) { l.keep(format, v...) }

func (l *serverLog) keep(format string, v ...any) {
	l.mu.Lock()
	l.err = fmt.Sprintf(format, v...)
	l.mu.Unlock()
	l.out.Error().Str("part", "bus server").Msgf(format, v...)
}

func (l *serverLog) lastError() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.err
}
