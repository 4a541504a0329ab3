package bus

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/rs/zerolog"
)

// embedded is the NATS server inside this process and what it holds.
type embedded struct {
	srv  *server.Server
	opts *server.Options
	log  *serverLog
	lock *Lock
	temp string // folder to remove at the end, for a bus in memory
}

// startServer locks the folder and starts the server in it.
func startServer(ctx context.Context, o Options) (*embedded, error) {
	e := &embedded{}
	dir := o.Dir
	if o.Memory {
		// Even without files the server wants a folder for its own bookkeeping.
		t, err := os.MkdirTemp("", "padlark-bus-")
		if err != nil {
			return nil, fmt.Errorf("make folder for bus in memory: %w", err)
		}
		e.temp, dir = t, t
	} else {
		if err := os.MkdirAll(dir, 0o755); err != nil {
			return nil, fmt.Errorf("make bus folder: %w", err)
		}
		l, err := LockFile(filepath.Join(dir, "bus.lock"))
		if err != nil {
			return nil, fmt.Errorf("open bus: %w; stop that one, or give this one another [station] data", err)
		}
		e.lock = l
	}
	if err := e.run(ctx, o, dir); err != nil {
		return nil, errors.Join(err, e.stop())
	}
	return e, nil
}

func (e *embedded) run(ctx context.Context, o Options, dir string) error {
	so, err := serverOptions(o, dir)
	if err != nil {
		return err
	}
	if err := probeListen(o.Listen); err != nil {
		return err
	}
	if err := mendMeta(dir); err != nil {
		return err
	}
	srv, err := server.NewServer(so)
	if err != nil {
		return fmt.Errorf("make bus server: %w", err)
	}
	log := &serverLog{out: o.Log}
	srv.SetLoggerV2(log, false, false, false)
	e.srv, e.opts, e.log = srv, so, log
	srv.Start()
	// Recovering a large stream takes the server some seconds on a memory card.
	for wait := 30 * time.Second; ; wait -= 100 * time.Millisecond {
		if srv.ReadyForConnections(100 * time.Millisecond) {
			break
		}
		if msg := log.lastError(); msg != "" {
			return fmt.Errorf("start bus server in %s: %s", dir, msg)
		}
		if ctx.Err() != nil {
			return fmt.Errorf("start bus server: %w", ctx.Err())
		}
		if wait <= 0 {
			return fmt.Errorf("start bus server in %s: not ready after 30 s", dir)
		}
	}
	if !srv.JetStreamEnabled() {
		return fmt.Errorf("start bus server in %s: no storage: %s", dir, log.lastError())
	}
	return nil
}

// roomToRevive is how many bytes must be free before the storage is started
// again.
const roomToRevive = 4 << 20

// revive starts the server's storage anew once there is room after a write that
// found the disk full: the server gives the stream up for good then. Only the
// publisher calls it.
func (e *embedded) revive() error {
	if e == nil || !e.log.foundFull() {
		return nil
	}
	if free, ok := Free(e.opts.StoreDir); ok && free < roomToRevive {
		return fmt.Errorf("the disk is full: %d kB are free in %s", free>>10, e.opts.StoreDir)
	}
	e.log.clearFull()
	if err := e.srv.ShutdownJetStream(); err != nil {
		return fmt.Errorf("stop the bus's storage: %w", err)
	}
	err := e.srv.EnableJetStream(&server.JetStreamConfig{
		MaxStore: e.opts.JetStreamMaxStore, MaxMemory: e.opts.JetStreamMaxMemory, StoreDir: e.opts.StoreDir,
		Domain: e.opts.JetStreamDomain, SyncInterval: e.opts.SyncInterval, SyncAlways: e.opts.SyncAlways,
	})
	if err != nil {
		e.log.setFull() // once more
		return fmt.Errorf("start the bus's storage again: %w", err)
	}
	return nil
}

func (e *embedded) stop() error {
	if e == nil {
		return nil
	}
	if e.srv != nil {
		e.srv.Shutdown()
		e.srv.WaitForShutdown()
	}
	err := e.lock.Unlock()
	if e.temp != "" {
		err = errors.Join(err, os.RemoveAll(e.temp))
	}
	return err
}

func serverOptions(o Options, dir string) (*server.Options, error) {
	syncInterval := o.SyncInterval
	if o.ownSync() {
		syncInterval = serverSync
	}
	so := &server.Options{
		ServerName:      "padlark-" + Token(o.Station),
		DontListen:      o.Listen == "",
		NoSigs:          true, // signals belong to the daemon
		JetStream:       true,
		JetStreamDomain: o.Domain,
		StoreDir:        dir,
		// The stream has its own bound; the server's would be a share of the
		// free disk space and refuse the stream on a small card.
		JetStreamMaxStore:  1 << 50,
		JetStreamMaxMemory: 1 << 50,
		SyncInterval:       syncInterval,
		SyncAlways:         o.SyncAlways,
		Authorization:      o.Token,
		Username:           o.User,
		Password:           o.Password,
		TLSConfig:          o.TLS,
		TLS:                o.TLS != nil,
		MaxPending:         64 << 20,
	}
	if o.Listen != "" {
		host, port, err := net.SplitHostPort(o.Listen)
		if err != nil {
			return nil, fmt.Errorf("open bus: [bus] listen %q: %w", o.Listen, err)
		}
		so.Host = host
		if so.Port, err = strconv.Atoi(port); err != nil {
			return nil, fmt.Errorf("open bus: [bus] listen %q: the port is not a number", o.Listen)
		}
		if so.Port == 0 {
			so.Port = server.RANDOM_PORT
		}
	} else {
		// The TLS of a server that takes no connections is for nobody.
		so.TLSConfig, so.TLS = nil, false
	}
	if o.LeafURL != "" {
		u, err := url.Parse(o.LeafURL)
		if err != nil || u.Host == "" {
			return nil, fmt.Errorf("open bus: [bus] leaf %q is not an address like nats://host:7422", redact(o.LeafURL))
		}
		so.LeafNode.Remotes = []*server.RemoteLeafOpts{{URLs: []*url.URL{u}, Credentials: o.CredsFile}}
		so.LeafNode.ReconnectInterval = time.Second
	}
	return so, nil
}

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
	// full is set when a write has found no room. The server tells nobody else.
	full bool
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
	l.full = l.full || strings.Contains(l.err, syscall.ENOSPC.Error())
	l.mu.Unlock()
	l.out.Error().Str("part", "bus server").Msgf(format, v...)
}

func (l *serverLog) foundFull() bool { l.mu.Lock(); defer l.mu.Unlock(); return l.full }

func (l *serverLog) clearFull() { l.mu.Lock(); l.full = false; l.mu.Unlock() }

func (l *serverLog) setFull() { l.mu.Lock(); l.full = true; l.mu.Unlock() }

func (l *serverLog) lastError() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.err
}
