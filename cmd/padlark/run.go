package main

import (
	"context"
	"fmt"
	"io"
	"time"

	"github.com/coreos/go-systemd/v22/daemon"
	"github.com/rs/zerolog"
	"golang.org/x/sync/errgroup"

	"padlark/cmd/padlark/config"
	"padlark/cmd/padlark/station"
)

type runCmd struct {
	Config  string `arg:"" optional:"" type:"path" help:"Configuration file; padlark.toml of this folder if not given."`
	Data    string `help:"Folder for archive and bus, instead of station.data." placeholder:"DIR"`
	Capture string `help:"Write every byte that is heard, with its time, to FILE: what reproduces any trouble at home." placeholder:"FILE"`
	Quiet   bool   `short:"q" help:"No line per rocket; the log only."`
	Screen  bool   `help:"Say how this computer's own screen shows the board."`
}

// Help shows an example.
func (runCmd) Help() string {
	return "Example: padlark run padlark.toml --capture saturday.plarkcap\n\n" +
		"Ends on Ctrl-C or SIGTERM with everything written. The next start within ten minutes goes on with the session, " +
		"its pads and its flights. On SIGHUP, and from its page \"configuration\", it takes over what was changed in the file, " +
		"without losing a frame. padlark check --example prints a configuration to start from."
}

// Run runs the station until it is told to stop.
func (c *runCmd) Run(ctx context.Context, io *cmdIO) error {
	cfg, err := c.load()
	if err != nil {
		return err
	}
	for _, d := range cfg.Doubts() {
		fmt.Fprintf(io.Err, "padlark: %s line %d: %v\n", orHere(c.Config), d.Line, d.Err)
	}
	hangups, stop := hangups()
	defer stop()
	opt := station.Options{
		Config: cfg, Version: softwareVersion(), Capture: c.Capture, Stdin: io.In,
		ConfigFile: orHere(c.Config), Load: c.load, Reload: hangups,
	}
	if !c.Screen {
		return runStation(ctx, opt, io, c.Quiet, nil)
	}
	return runStation(ctx, opt, io, c.Quiet, func(ctx context.Context, info station.Info) error {
		fmt.Fprint(io.Err, screenWords(info.Pages, cfg.Bus.Listen))
		<-ctx.Done()
		return nil
	})
}

// load reads the configuration, at the start and whenever it is to be read again.
func (c *runCmd) load() (*config.Config, error) {
	cfg, err := configuration(c.Config)
	if err != nil {
		return nil, err
	}
	if c.Data != "" {
		cfg.Station.Data = c.Data
	}
	if err := station.Check(cfg); err != nil {
		return nil, usageError{fmt.Errorf("%s: %w", orHere(c.Config), err)}
	}
	return cfg, nil
}

// screenWords say how a screen on this computer shows the board.
func screenWords(pages, bus string) string {
	if pages == "" {
		pages = "there are no pages: set web.listen\n"
	} else {
		pages = "full screen, with a graphical system: chromium --kiosk " + pages + "\n"
	}
	if bus == "" {
		return pages + "large digits on a text console: set bus.listen = \"127.0.0.1:4222\" first\n"
	}
	return pages + "large digits on a text console: padlark watch --screen nats://" + bus + "\n"
}

// runStation runs a station with its rockets shown on io.Out and its log on
// io.Err. with, if not nil, runs beside it once it is open; when it returns the
// station is stopped.
func runStation(ctx context.Context, opt station.Options, io *cmdIO, quiet bool, with func(context.Context, station.Info) error) error {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	sp := newOutbox()
	defer sp.close()
	v := newView(sp.of(io.Out), sp.of(io.Err))
	v.lines.rockets, v.lines.links = opt.Config.Rockets, opt.Config.Links
	v.lines.reader = opt.Config.Station.Reader()
	limit, log := newLogLimit(), newLog(v)
	opt.Log = log.Hook(limit)
	opt.Reloaded = v.reconfigure
	g, gctx := errgroup.WithContext(ctx)
	limiting, stopLimiting := context.WithCancel(context.WithoutCancel(ctx))
	defer stopLimiting()
	g.Go(func() error { return limit.run(limiting, log) })
	viewCtx, stopView := context.WithCancel(ctx)
	opt.Ready = func(info station.Info) {
		announce(v, info)
		fmt.Fprint(v, phones(info, v.lines.live))
		if !quiet {
			g.Go(func() error { return v.follow(viewCtx, info.Bus, info.Recorded) })
		}
		g.Go(func() error { return keepWatchdog(viewCtx) })
		if with != nil {
			g.Go(func() error {
				defer stop()
				return with(gctx, info)
			})
		}
	}
	err := station.Run(gctx, opt)
	stopView()
	stop()
	stopLimiting()
	if waitErr := g.Wait(); err == nil && waitErr != nil {
		err = waitErr
	}
	return err
}

// announce says where everything is.
func announce(w io.Writer, info station.Info) {
	what := "session " + info.Session
	if info.Resumed {
		what += " (goes on after an interruption)"
	}
	fmt.Fprintf(w, "%s, data in %s\n", what, info.Data)
	if info.Pages != "" {
		fmt.Fprintf(w, "pages at %s\n", info.Pages)
	}
	// Only where a service manager asks for it; elsewhere this does nothing.
	_, _ = daemon.SdNotify(false, daemon.SdNotifyReady)
}

// keepWatchdog tells the service manager that the daemon is alive, if it asks.
func keepWatchdog(ctx context.Context) error {
	every, err := daemon.SdWatchdogEnabled(false)
	if err != nil || every == 0 {
		return nil
	}
	t := time.NewTicker(every / 3)
	defer t.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-t.C:
			_, _ = daemon.SdNotify(false, daemon.SdNotifyWatchdog)
		}
	}
}

// newLog writes plain log lines in local time.
func newLog(w io.Writer) zerolog.Logger {
	if j := sysLog(); j != nil {
		return zerolog.New(j).With().Timestamp().Logger()
	}
	return zerolog.New(zerolog.ConsoleWriter{Out: w, NoColor: true, TimeFormat: time.TimeOnly}).
		With().Timestamp().Logger()
}
