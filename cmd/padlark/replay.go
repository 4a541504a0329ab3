package main

import (
	"context"
	"fmt"
	"slices"
	"strconv"

	"golang.org/x/sync/errgroup"

	"padlark/cmd/padlark/config"
	"padlark/cmd/padlark/station"
	"padlark/flight"
	"padlark/storage"
)

type replayCmd struct {
	unitFlags
	Data    string `help:"Folder that a station keeps its data in." placeholder:"DIR"`
	Session string `arg:"" optional:"" help:"Session, or how its name begins; the newest if not given."`
	Speed   string `default:"1" help:"Multiple of real time, or max."`
	Rocket  string `help:"Only the frames of this rocket."`
	Config  string `type:"path" help:"Another configuration: same frames, other settings. The differences are printed." placeholder:"FILE"`
	JSON    bool   `name:"json" help:"Print the events, one JSON object a line, and no comparison."`
}

// Help shows an example.
func (replayCmd) Help() string {
	return "Example: padlark replay --data padlark-demo --speed 10\n\n" +
		"Publishes the recorded frames again on a bus of its own and runs the same program on them. With the recorded " +
		"configuration the events must equal the recorded ones, byte for byte; exit status 1 if they do not."
}

// Run replays a session.
func (c *replayCmd) Run(ctx context.Context, io *cmdIO) error {
	speed, err := parseSpeed(c.Speed)
	if err != nil {
		return err
	}
	a, name, err := archiveFlags{Data: c.Data}.session(ctx, io, c.Session)
	if err != nil {
		return err
	}
	defer a.Close() //nolint:errcheck // only read from
	session, err := a.Session(ctx, name)
	if err != nil {
		return err
	}
	cfg, err := c.config(session)
	if err != nil {
		return err
	}
	recorded, err := a.Events(ctx, storage.Query{Session: name, Rocket: c.Rocket, Recorded: true, AsHeard: true})
	if err != nil {
		return err
	}
	opt := station.ReplayOptions{Archive: a, Session: session, Config: cfg, Speed: speed, Rocket: c.Rocket}
	fmt.Fprintf(io.Err, "REPLAY of session %s: nothing here happens now.\n", name)
	events, err := c.play(ctx, opt, io)
	if err != nil {
		return err
	}
	// What people said of flights holds for both.
	for _, list := range []*[]flight.Event{&recorded, &events} {
		if *list, err = a.CorrectEvents(ctx, name, c.Rocket, *list); err != nil {
			return err
		}
		if *list, err = a.WithoutVoid(ctx, name, *list); err != nil {
			return err
		}
	}
	warnLost(a, io)
	if c.JSON {
		return printJSONLines(io.Out, events)
	}
	// Who fixed the time, and when, is not in the frames.
	recorded = slices.DeleteFunc(recorded, func(e flight.Event) bool { return e.Kind == flight.TimeFix })
	return c.compare(io, recorded, events)
}

func parseSpeed(s string) (float64, error) {
	if s == "max" {
		return 0, nil
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || !(v > 0 && v <= 1e6) {
		return 0, usagef("--speed %s: give a multiple of real time, such as 1 or 10, or max", s)
	}
	return v, nil
}

// config is the other configuration, nil for the session's own.
func (c *replayCmd) config(s storage.Session) (*config.Config, error) {
	if c.Config != "" {
		cfg, err := config.Load(c.Config)
		if err != nil {
			return nil, usageError{err}
		}
		return cfg, nil
	}
	if _, err := config.Parse("configuration recorded with session "+s.ID, []byte(s.Latest())); err != nil {
		return nil, fmt.Errorf("%w; give one with --config", err)
	}
	return nil, nil
}

// play runs the replay, with the rockets shown unless it is at full speed.
func (c *replayCmd) play(ctx context.Context, opt station.ReplayOptions, io *cmdIO) ([]flight.Event, error) {
	if opt.Speed == 0 || c.JSON {
		return station.Replay(ctx, opt)
	}
	v := newView(io.Out, io.Err)
	v.lines.reader = c.reader()
	opt.Log = newLog(v)
	viewCtx, stopView := context.WithCancel(ctx)
	defer stopView()
	var g errgroup.Group
	opt.Ready = func(info station.Info) {
		g.Go(func() error { return v.follow(viewCtx, info.Bus, opt.Speed > 50) })
	}
	events, err := station.Replay(ctx, opt)
	stopView()
	if werr := g.Wait(); err == nil {
		err = werr
	}
	return events, err
}

// compare says whether the events are the recorded ones, and what differs.
func (c *replayCmd) compare(io *cmdIO, recorded, replayed []flight.Event) error {
	differ, equal, same, err := flight.Compare(recorded, replayed)
	if err != nil {
		return err
	}
	if same {
		fmt.Fprintf(io.Out, "%d events, each equal to the recorded one.\n", len(replayed))
		return nil
	}
	fmt.Fprintf(io.Out, "%d events, %d were recorded. What differs (- recorded, + replayed):\n", len(replayed), len(recorded))
	for _, d := range differ {
		if d.Was != nil {
			fmt.Fprint(io.Out, "- ")
			printEvent(io.Out, *d.Was)
		}
		if d.Is != nil {
			fmt.Fprint(io.Out, "+ ")
			printEvent(io.Out, *d.Is)
		}
	}
	fmt.Fprintf(io.Out, "%d events are equal.\n", equal)
	if c.Config == "" {
		return errBadVerdict
	}
	return nil
}
