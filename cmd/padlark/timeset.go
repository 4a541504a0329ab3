package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"padlark/cmd/padlark/station"
	"padlark/flight"
	"padlark/storage"
	"padlark/storage/report"
	"padlark/storage/sqlite"
)

type timeCmd struct {
	Set timeSetCmd `cmd:"" help:"Say what the time really is, or when a recorded session really began."`
}

// Help shows an example.
func (timeCmd) Help() string {
	return "Example: padlark time set --data padlark-data --at 2026-05-02T14:03:20+02:00"
}

type timeSetCmd struct {
	archiveFlags
	Session string `arg:"" optional:"" help:"Recorded session, or how its name begins; the newest if not given."`
	At      string `help:"What the time is now, as 2026-05-02T14:03:20+02:00; this computer's clock if not given. For a station that is running." placeholder:"TIME" xor:"when"`
	Started string `help:"When the session began. For a recorded session." placeholder:"TIME" xor:"when"`
}

// Help shows an example.
func (timeSetCmd) Help() string {
	return "Examples:\n\n  padlark time set --data /var/lib/padlark --at 2026-05-02T14:03:20+02:00\n\n" +
		"  padlark time set --data saturday 19700101 --started 2026-05-02T13:30:00+02:00\n\n" +
		"Every time of the session is moved by the same amount. What was recorded stays as it is: only the shift is stored, and every list and export adds it."
}

// tookOrder is how long a running station may take to see an order.
const tookOrder = 10 * time.Second

// Run fixes the time of the running station, or of a recorded session.
func (c *timeSetCmd) Run(ctx context.Context, io *cmdIO) error {
	dir, err := c.folder()
	if err != nil {
		return err
	}
	a, err := openArchive(ctx, dir)
	switch {
	case errors.Is(err, storage.ErrLocked):
		return c.running(ctx, io, dir)
	case err != nil:
		return err
	}
	err = c.recorded(ctx, io, a)
	return errors.Join(err, a.Close())
}

// running leaves the order to the station and waits until it is taken.
func (c *timeSetCmd) running(ctx context.Context, io *cmdIO, dir string) error {
	if c.Started != "" || c.Session != "" {
		return usagef("a station is running on %s: say with --at what the time is now; recorded sessions can be set when it has stopped", dir)
	}
	truth := time.Now()
	if c.At != "" {
		var err error
		if truth, err = time.Parse(time.RFC3339Nano, c.At); err != nil {
			return usagef("--at %q is not a time like 2026-05-02T14:03:20+02:00", c.At)
		}
	}
	done, err := station.OrderFix(dir, truth)
	if err != nil {
		return err
	}
	limit := time.NewTimer(tookOrder)
	defer limit.Stop()
	tick := time.NewTicker(50 * time.Millisecond)
	defer tick.Stop()
	for !done() {
		select {
		case <-tick.C:
		case <-limit.C:
			return fmt.Errorf("the station has not taken the time within %v: is it running well? See its log", tookOrder)
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	fmt.Fprintf(io.Out, "the running session now counts from %s\n", truth.Format(time.RFC3339))
	return nil
}

// recorded sets the shift of a session that nobody writes to.
func (c *timeSetCmd) recorded(ctx context.Context, io *cmdIO, a *sqlite.Archive) error {
	if c.Started == "" {
		return usagef("no station is running here: say with --started when the session began")
	}
	truth, err := time.Parse(time.RFC3339Nano, c.Started)
	if err != nil {
		return usagef("--started %q is not a time like 2026-05-02T13:30:00+02:00", c.Started)
	}
	name, err := report.FindSession(ctx, a, c.Session)
	if err != nil {
		return err
	}
	s, err := a.Session(ctx, name)
	if err != nil {
		return err
	}
	const how = "by hand, with padlark time set"
	shift := truth.Sub(s.Started)
	if err := a.SetShift(ctx, name, shift, how); err != nil {
		return err
	}
	err = a.AddEvent(ctx, flight.Event{
		Session: name, ID: fmt.Sprintf("timefix/set/%d", time.Now().UnixNano()), Kind: flight.TimeFix, At: s.Started, CalledAt: s.Started,
		Note: fmt.Sprintf("all times of the session are moved by %+.3f s, to %s: %s", shift.Seconds(), truth.UTC().Format(time.RFC3339), how),
	})
	if err != nil {
		return err
	}
	fmt.Fprintf(io.Out, "session %s began at %s; its times are moved by %+.3f s\n", name, truth.Format(time.RFC3339), shift.Seconds())
	return nil
}
