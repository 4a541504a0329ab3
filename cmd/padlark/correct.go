package main

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"padlark/storage/report"
	"padlark/storage/results"
	"padlark/storage/sqlite"
)

// correctCmd groups what a person says of flights that were told apart wrongly.
type correctCmd struct {
	Join   joinCmd        `cmd:"" help:"Two flights are one: a landing was called that was none."`
	Split  splitCmd       `cmd:"" help:"One flight is two: a landing was not seen."`
	Rename renameCmd      `cmd:"" help:"It was another rocket."`
	Undo   uncorrectCmd   `cmd:"" help:"Take back the newest correction of a flight."`
	List   correctionsCmd `cmd:"" help:"List what was corrected."`
}

// Help shows an example.
func (correctCmd) Help() string {
	return "Example: padlark correct join Teal-2 Teal-3\n\n" +
		"Everything that counts or shows flights follows: flights, season, compare, reports, exports, notes, alarms, " +
		"padlark events and replays. What was heard stays as it is, and undo gives back what was. Sessions are corrected when they are over."
}

// correcting opens the archive for a correction and closes it after fn.
func correcting(ctx context.Context, f archiveFlags, fn func(a *sqlite.Archive, r *results.Results) error) error {
	a, err := f.beside(ctx)
	if err != nil {
		return err
	}
	return errors.Join(fn(a, results.New(a)), a.Close())
}

// flightNamed finds the flight that a person means, void ones too.
func flightNamed(ctx context.Context, a *sqlite.Archive, text string, io *cmdIO) (report.Ref, sqlite.FlightName, error) {
	ref, more, err := report.FindEvery(ctx, a, text)
	if err != nil {
		return ref, sqlite.FlightName{}, usageError{err}
	}
	tellOthers(ref, more, io)
	return ref, sqlite.FlightName{Rocket: ref.Rocket, Flight: ref.Flight}, nil
}

type joinCmd struct {
	archiveFlags
	First  string `arg:"" help:"Flight: Teal-2 (the newest of that name) or SESSION~Teal~2."`
	Second string `arg:"" help:"The flight that follows it."`
}

// Help shows an example.
func (joinCmd) Help() string {
	return "Example: padlark correct join Teal-2 Teal-3\n\nThe flight keeps the number of the first."
}

// Run joins two flights.
func (c *joinCmd) Run(ctx context.Context, io *cmdIO) error {
	return correcting(ctx, c.archiveFlags, func(a *sqlite.Archive, r *results.Results) error {
		ref, first, err := flightNamed(ctx, a, c.First, io)
		if err != nil {
			return err
		}
		other, second, err := flightNamed(ctx, a, c.Second, io)
		if err != nil {
			return err
		}
		if ref.Session != other.Session {
			return usagef("%v and %v are of two sessions: name both as SESSION~%s~%d", ref, other, ref.Rocket, ref.Flight)
		}
		if err := r.Join(ctx, ref.Session, first, second); err != nil {
			return err
		}
		fmt.Fprintf(io.Err, "%v and %v are one flight, %v; padlark correct undo %v makes two of it again\n", first, second, first, ref)
		return nil
	})
}

type splitCmd struct {
	archiveFlags
	Flight string  `arg:"" help:"Flight: Teal-2 (the newest of that name) or SESSION~Teal~2."`
	At     float64 `arg:"" help:"Seconds after its liftoff at which it lay on the ground, between the two."`
}

// Help shows an example.
func (splitCmd) Help() string {
	return "Example: padlark correct split Teal-2 95\n\nBoth parts are looked at anew; the second gets the next free number."
}

// Run makes two flights of one.
func (c *splitCmd) Run(ctx context.Context, io *cmdIO) error {
	return correcting(ctx, c.archiveFlags, func(a *sqlite.Archive, r *results.Results) error {
		ref, n, err := flightNamed(ctx, a, c.Flight, io)
		if err != nil {
			return err
		}
		second, err := r.Split(ctx, ref.Session, n, c.At)
		if err != nil {
			return err
		}
		fmt.Fprintf(io.Err, "%v is two flights, %v and %v; padlark correct undo %v makes one of them again\n", n, n, second, ref)
		return nil
	})
}

type renameCmd struct {
	archiveFlags
	What    string `arg:"" help:"Flight (Teal-2 or SESSION~Teal~2), or a rocket: all its flights of one session."`
	Rocket  string `arg:"" help:"The rocket that it was."`
	Session string `help:"The session, for a rocket; the newest if not given." placeholder:"ID"`
}

// Help shows an example.
func (renameCmd) Help() string {
	return "Example: padlark correct rename Teal-2 Rust\n\n" +
		"A flight keeps its number where the other rocket has none of it. The settings of the other rocket hold, if the session knows it."
}

// nameMost bounds a rocket's name, in bytes.
const nameMost = 40

// Run gives flights to another rocket.
func (c *renameCmd) Run(ctx context.Context, io *cmdIO) error {
	to := strings.TrimSpace(c.Rocket)
	if to == "" || len(to) > nameMost || strings.ContainsAny(to, "~\n\r\t") {
		return usagef("%q is no name of a rocket: give 1 to %d bytes without ~", c.Rocket, nameMost)
	}
	return correcting(ctx, c.archiveFlags, func(a *sqlite.Archive, r *results.Results) error {
		session, was, err := c.chosen(ctx, a, io)
		if err != nil {
			return err
		}
		names, err := r.Rename(ctx, session, was, to)
		if err != nil {
			return err
		}
		for _, n := range names {
			ref := report.Ref{Session: session, Rocket: n.Rocket, Flight: n.Flight}
			fmt.Fprintf(io.Err, "it is %v now; padlark correct undo %v takes that back\n", n, ref)
		}
		return nil
	})
}

// chosen is a flight, or a rocket of a session with number 0.
func (c *renameCmd) chosen(ctx context.Context, a *sqlite.Archive, io *cmdIO) (string, sqlite.FlightName, error) {
	session, err := report.FindSession(ctx, a, c.Session)
	if err != nil {
		return "", sqlite.FlightName{}, err
	}
	spans, err := a.Flights(ctx, session)
	if err != nil {
		return "", sqlite.FlightName{}, err
	}
	for _, f := range spans {
		if f.Rocket == c.What {
			return session, sqlite.FlightName{Rocket: c.What}, nil
		}
	}
	if c.Session != "" {
		return "", sqlite.FlightName{}, usagef("session %s has no flight of %s; padlark flights %s lists them", session, c.What, session)
	}
	ref, n, err := flightNamed(ctx, a, c.What, io)
	return ref.Session, n, err
}

type uncorrectCmd struct {
	archiveFlags
	Flight string `arg:"" help:"Flight as it is called now: Teal-2 or SESSION~Teal~2."`
}

// Help shows an example.
func (uncorrectCmd) Help() string { return "Example: padlark correct undo Teal-2" }

// Run takes a correction back.
func (c *uncorrectCmd) Run(ctx context.Context, io *cmdIO) error {
	return correcting(ctx, c.archiveFlags, func(a *sqlite.Archive, r *results.Results) error {
		ref, n, err := flightNamed(ctx, a, c.Flight, io)
		if err != nil {
			return err
		}
		was, err := r.Undo(ctx, ref.Session, n)
		if err != nil {
			return err
		}
		fmt.Fprintf(io.Err, "as it was: %s\n", join(was))
		return nil
	})
}

type correctionsCmd struct {
	archiveFlags
}

// Help shows an example.
func (correctionsCmd) Help() string { return "Example: padlark correct list --data padlark-data" }

// Run lists corrections.
func (c *correctionsCmd) Run(ctx context.Context, io *cmdIO) error {
	a, err := c.open(ctx, io)
	if err != nil {
		return err
	}
	defer a.Close() //nolint:errcheck // only read from
	sessions, err := a.Sessions(ctx)
	if err != nil {
		return err
	}
	none := true
	for _, s := range sessions {
		list, err := a.Corrections(ctx, s.ID)
		if err != nil {
			return err
		}
		for _, one := range list {
			none = false
			now := make([]sqlite.FlightName, len(one.Now))
			for i, f := range one.Now {
				now[i] = f.FlightName
			}
			undone := ""
			if one.Undone {
				undone = ", undone"
			}
			wrap(io.Out, s.ID+"  ", fmt.Sprintf("%s: %s, now %s%s", one.Kind, join(one.Was), join(now), undone))
		}
	}
	if none {
		fmt.Fprintln(io.Out, "Nothing was corrected.")
	}
	return nil
}

func join(names []sqlite.FlightName) string {
	s := make([]string, len(names))
	for i, n := range names {
		s[i] = n.String()
	}
	return strings.Join(s, ", ")
}
