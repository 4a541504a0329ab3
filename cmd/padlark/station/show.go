package station

import (
	"context"
	"net"
	"time"

	"github.com/rs/zerolog"
	"golang.org/x/sync/errgroup"

	"padlark/storage/results"
	"padlark/storage/sqlite"
	"padlark/watch"
	"padlark/web"
	"padlark/web/wire"
)

// ShowOptions are those of Show.
type ShowOptions struct {
	Listen  string // host:port of the pages, on this computer
	Version string
	Log     zerolog.Logger
	Ready   func(pages string) // called once, when the pages can be opened
}

// nothingLive is what the pages hear where nothing is heard.
type nothingLive struct{}

func (nothingLive) Watch(func(web.Message)) (func(), error) { return func() {}, nil }

// Show serves the pages over an archive without a link or a session of its own,
// until ctx ends. Nothing can be changed on them.
func Show(ctx context.Context, a *sqlite.Archive, o ShowOptions) error {
	sessions, err := a.Sessions(ctx)
	if err != nil {
		return err
	}
	name := "archive"
	if n := len(sessions); n > 0 {
		name = sessions[n-1].Station
	}
	work := results.New(a)
	archive := wire.NewArchive(a, work, nil)
	srv, err := web.New(web.Options{
		Listen: o.Listen, Station: name, Version: o.Version,
		Archive: archive, Notes: archive, Checkups: archive, Flights: wire.Flights{Results: work, Archive: a}, Live: nothingLive{},
		Exporter: exporter{a}, Now: time.Now, Log: o.Log, Keys: keys,
		NewMachine: func(ctx context.Context, one web.Session) (*watch.Engine, error) { return recordedMachine(ctx, a, one) },
	})
	if err != nil {
		return err
	}
	g, gctx := errgroup.WithContext(ctx)
	g.Go(func() error { return archive.Run(gctx) })
	g.Go(func() error { return srv.Run(gctx) })
	g.Go(func() error {
		workAhead(gctx, work, o.Log, func() bool { return false })
		return nil
	})
	if addr, err := srv.Addr(gctx); err == nil { // else Run's error is the one to tell
		o.Ready("http://" + typable(addr, []net.Addr{}) + "/")
	}
	return g.Wait()
}
