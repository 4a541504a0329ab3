package main

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"padlark/storage"
	"padlark/storage/report"
	"padlark/storage/sqlite"
)

type voidCmd struct {
	archiveFlags
	Flight string   `arg:"" optional:"" help:"Flight: Teal-2 (the newest of that name) or SESSION~Teal~2. Without it the void ones are listed."`
	Why    []string `arg:"" optional:"" help:"What it was instead: a bump, a board that started again."`
	Undo   bool     `help:"It was a flight after all: count it again."`
}

// Help shows an example.
func (voidCmd) Help() string {
	return "Example: padlark void Teal-2 \"the board started again on the pad\"\n\n" +
		"A void flight counts nowhere: not in flights, season, compare, reports, exports, nor in what a replay and " +
		"padlark events show. What was heard stays as it is, and --undo counts the flight again. " +
		"It can be said while a station is running on the same folder."
}

// voidMost bounds the reason, in bytes.
const voidMost = 200

// Run keeps what was said, or lists it.
func (c *voidCmd) Run(ctx context.Context, io *cmdIO) error {
	why := strings.TrimSpace(strings.Join(c.Why, " "))
	switch {
	case len(why) > voidMost:
		return usagef("a reason has %d bytes at the most, this one has %d", voidMost, len(why))
	case c.Flight == "" && c.Undo:
		return usagef("--undo: name the flight, as Teal-2; padlark void alone lists those that are void")
	}
	a, err := c.beside(ctx)
	if err != nil {
		return err
	}
	do := c.list
	if c.Flight != "" {
		do = func(ctx context.Context, a *sqlite.Archive, io *cmdIO) error { return c.say(ctx, a, why, io) }
	}
	return errors.Join(do(ctx, a, io), a.Close())
}

func (c *voidCmd) say(ctx context.Context, a *sqlite.Archive, why string, io *cmdIO) error {
	ref, _, err := flightNamed(ctx, a, c.Flight, io)
	if err != nil {
		return err
	}
	s, err := a.Session(ctx, ref.Session)
	if err != nil {
		return err
	}
	v := sqlite.Void{Session: ref.Session, Rocket: ref.Rocket, Flight: ref.Flight, Void: !c.Undo, At: time.Now().UTC().Add(-s.Shift), Why: why}
	if err := a.SetVoid(ctx, v); err != nil {
		return err
	}
	if c.Undo {
		fmt.Fprintf(io.Err, "%s counts again\n", ref)
		return nil
	}
	fmt.Fprintf(io.Err, "%s is void and counts nowhere; padlark void --undo %s counts it again\n", ref, ref)
	return nil
}

func (c *voidCmd) list(ctx context.Context, a *sqlite.Archive, io *cmdIO) error {
	sessions, err := a.Sessions(ctx)
	if err != nil {
		return err
	}
	none := true
	for _, s := range sessions {
		voids, err := a.VoidNow(ctx, s.ID)
		if err != nil {
			return err
		}
		for _, v := range voids {
			none = false
			wrap(io.Out, report.Ref{Session: v.Session, Rocket: v.Rocket, Flight: v.Flight}.String()+"  ", v.Why)
		}
	}
	if none {
		fmt.Fprintln(io.Out, "No flight is void.")
	}
	return nil
}

// refuseVoid says that a flight that somebody asks for is void.
func refuseVoid(ctx context.Context, a *sqlite.Archive, q storage.Query) error {
	voids, err := a.VoidNow(ctx, q.Session)
	if err != nil {
		return err
	}
	for _, v := range voids {
		if v.Rocket == q.Rocket && v.Flight == q.Flight {
			ref := report.Ref{Session: q.Session, Rocket: v.Rocket, Flight: v.Flight}
			return fmt.Errorf("%s is void (%s): padlark void --undo %s counts it again; the samples of the whole session have it too", ref.Short(), orWords(v.Why), ref)
		}
	}
	return nil
}

func orWords(why string) string {
	if why == "" {
		return "a person says that it was no flight"
	}
	return why
}
