package main

import (
	"context"
	"fmt"
	"io"
	"slices"
	"strings"

	"padlark/flight"
	"padlark/storage"
)

type eventsCmd struct {
	archiveFlags
	Session string `arg:"" optional:"" help:"Session, or how its name begins; the newest if not given."`
	Rocket  string `help:"Only this rocket."`
	JSON    bool   `name:"json" help:"Print one JSON object a line, in the order in which they were called."`
}

// Help shows an example.
func (eventsCmd) Help() string { return "Example: padlark events --data padlark-demo --rocket Teal" }

// Run prints the events of a session.
func (c *eventsCmd) Run(ctx context.Context, io *cmdIO) error {
	a, session, err := c.session(ctx, io, c.Session)
	if err != nil {
		return err
	}
	defer a.Close() //nolint:errcheck // only read from
	events, err := a.Events(ctx, storage.Query{Session: session, Rocket: c.Rocket})
	if err != nil {
		return err
	}
	if events, err = a.WithoutVoid(ctx, session, events); err != nil {
		return err
	}
	warnLost(a, io)
	if c.JSON {
		return printJSONLines(io.Out, events)
	}
	// By when they happened. --json keeps the order in which they were called, which
	// a replay gives again.
	slices.SortStableFunc(events, func(x, y flight.Event) int { return x.At.Compare(y.At) })
	for _, e := range events {
		printEvent(io.Out, e)
	}
	return nil
}

// printEvent writes one event in words.
func printEvent(w io.Writer, e flight.Event) {
	var s []string
	if e.AtSD != nil {
		s = append(s, fmt.Sprintf("±%.2f s", *e.AtSD))
	}
	if e.AltitudeM != nil {
		s = append(s, fmt.Sprintf("at %.1f m", *e.AltitudeM))
	}
	if e.SpeedMps != nil {
		s = append(s, fmt.Sprintf("%+.1f m/s", *e.SpeedMps))
	}
	if e.Note != "" {
		s = append(s, e.Note)
	}
	lead := fmt.Sprintf("%s  %-10s %-9s  ", e.At.Local().Format("15:04:05.00"), clip(e.Rocket, 10), e.Kind)
	wrap(w, lead, strings.Join(s, ", "))
}
