package main

import (
	"context"
	"fmt"
	"io"
	"time"

	"padlark/flight/alarm"
	"padlark/flight/phrase"
	"padlark/storage"
)

type alarmsCmd struct {
	archiveFlags
	unitFlags
	Session string `arg:"" optional:"" help:"Session, or how its name begins; the newest if not given."`
	Rocket  string `help:"Only this rocket."`
	Flight  int    `help:"Only this flight of its rocket; 0 for all." placeholder:"N"`
	JSON    bool   `name:"json" help:"Print one JSON object a line: each time that an alarm was raised."`
}

// Help shows an example.
func (alarmsCmd) Help() string {
	return "Example: padlark alarms --data padlark-demo --rocket Rust\n\nThe page /alarms of a station says what each kind means, and what to do."
}

// Run prints what was raised in a session.
func (c *alarmsCmd) Run(ctx context.Context, io *cmdIO) error {
	a, session, err := c.session(ctx, io, c.Session)
	if err != nil {
		return err
	}
	defer a.Close() //nolint:errcheck // only read from
	changes, err := a.Alarms(ctx, storage.Query{Session: session, Rocket: c.Rocket, Flight: c.Flight})
	if err != nil {
		return err
	}
	warnLost(a, io)
	raised := alarm.Log(changes)
	if c.JSON {
		return printJSONLines(io.Out, raised)
	}
	if len(raised) == 0 {
		fmt.Fprintf(io.Out, "No alarm was raised in session %s.\n", session)
	}
	for _, r := range raised {
		printRaised(io.Out, c.reader(), r)
	}
	return nil
}

// printRaised writes one alarm in words.
func printRaised(w io.Writer, to phrase.Reader, r alarm.Raising) {
	when := func(t *time.Time, yes, no string) string {
		if t == nil {
			return no
		}
		return yes + " " + t.Local().Format(time.TimeOnly)
	}
	about := r.Kind
	if r.Flight > 0 {
		about = fmt.Sprintf("%s, flight %d", about, r.Flight)
	}
	one := r.Alarm
	one.Active = true // told as it was raised
	wrap(w, r.RaisedAt.Local().Format(time.TimeOnly)+"  ", fmt.Sprintf("%s (%s; %s, %s)", alarmLine(to, one), about,
		when(r.OverAt, "over", "not over"), when(r.AckedAt, "acknowledged", "not acknowledged")))
}
