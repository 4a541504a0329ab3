package main

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"strings"

	"golang.org/x/sync/errgroup"

	"padlark/bus"
	"padlark/cmd/padlark/config"
	"padlark/watch/callout"
)

// watchCmd shows what a station elsewhere finds. It shows the station's own
// states, events and alarms and computes none of its own: the station has the
// configuration, all samples and the session from its start, while a second
// computation beyond a radio link would miss some, begin in the middle, and then
// say something else than the people at the station hear. What is missed is said
// and not filled in: it is in the station's journal, and a warning that is late
// helps nobody.
type watchCmd struct {
	remoteFlags
	unitFlags
	URL     string `arg:"" help:"The live bus of a station ([bus] listen)." placeholder:"nats://HOST:4222"`
	Config  string `short:"c" type:"path" help:"Configuration whose [callout] is used here." placeholder:"FILE"`
	Screen  bool   `help:"Large digits over the whole terminal, for a screen read from some steps away."`
	Callout string `help:"Run CMD for each callout, with the text on its standard input." placeholder:"CMD"`
}

// Help shows an example.
func (watchCmd) Help() string {
	return "Example: padlark watch nats://field:4222 --token-file field.token --callout 'espeak-ng --stdin'\n\n" +
		"Shows the rockets and alarms of a running station on another computer, and says them aloud, until Ctrl-C. " +
		"A connection can be gone for some 15 s before it is noticed: nobody should rely on this alone near a launch."
}

// Run watches until ctx ends.
func (c *watchCmd) Run(ctx context.Context, io *cmdIO) error {
	calls, err := c.callouts()
	if err != nil {
		return err
	}
	v := newView(io.Out, io.Err)
	v.lines.reader = c.reader()
	if c.Screen {
		leave, err := v.wholeScreen()
		if err != nil {
			return err
		}
		defer leave()
	}
	w := newRemoteWatch(calls, v, newLog(v))
	r, err := c.remote(c.URL)
	if err != nil {
		return err
	}
	r.Changed = w.changed
	b, err := bus.Dial(r)
	if err != nil {
		return err
	}
	shown := c.URL
	if u, err := url.Parse(shown); err == nil {
		shown = u.Redacted()
	}
	fmt.Fprintf(v, "watching %s\n", shown)
	g, gctx := errgroup.WithContext(ctx)
	stop, err := b.Subscribe([]bus.Kind{bus.State, bus.Event, bus.Alarm, bus.Standing}, w.take)
	if err != nil {
		return errors.Join(err, b.Close())
	}
	g.Go(func() error { return v.follow(gctx, b, false) })
	g.Go(func() error { return w.speaker.Run(gctx) })
	err = g.Wait()
	stop()
	w.leaving()
	return errors.Join(err, b.Close())
}

// callouts is what is said aloud here.
func (c *watchCmd) callouts() (callout.Config, error) {
	var out callout.Config
	if c.Config != "" {
		cfg, err := config.Load(c.Config)
		if err != nil {
			return out, usageError{err}
		}
		out = cfg.Callout
	}
	if c.Callout != "" {
		if out.Command = strings.Fields(c.Callout); len(out.Command) == 0 {
			return out, usagef("--callout: name a program, such as 'espeak-ng --stdin'")
		}
	}
	return out, nil
}
