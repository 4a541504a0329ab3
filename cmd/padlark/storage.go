package main

import (
	"context"
	"encoding/json"
	"fmt"

	"github.com/rs/zerolog"

	"padlark/cmd/padlark/station"
	"padlark/storage/influx"
	"padlark/storage/report"
	"padlark/storage/results"
	"padlark/storage/sqlite"
)

// storageCmd groups what is done with stored sessions beside the archive.
type storageCmd struct {
	Backup   backupCmd   `cmd:"" help:"Copy everything to another disk, also while the station runs."`
	Verify   verifyCmd   `cmd:"" help:"Read a backup and compare it with what was copied."`
	Backfill backfillCmd `cmd:"" help:"Send recorded sessions to the time-series server."`
}

// Help shows an example.
func (storageCmd) Help() string {
	return "Example: padlark storage backup /media/stick/padlark --data padlark-data"
}

type backfillCmd struct {
	Sessions []string `arg:"" optional:"" name:"session" help:"Sessions, or how their names begin."`
	All      bool     `help:"Every session of the archive."`
	Config   string   `short:"c" type:"path" help:"Configuration with [storage.influx]; padlark.toml of this folder if not given." placeholder:"FILE"`
	Data     string   `help:"Folder of the archive, instead of station.data." placeholder:"DIR"`
	Replace  bool     `help:"Delete what the server holds of a session before sending it."`
	JSON     bool     `name:"json" help:"Print what was sent as JSON, one object per session."`
}

// Help shows an example.
func (backfillCmd) Help() string {
	return "Example: padlark storage backfill 2026-06-13 --config padlark.toml\n\n" +
		"Sends every sample, event and alarm and the results of every flight. Doing it twice changes nothing on the " +
		"server. If the time of a session has been fixed since it was sent, its old points are deleted first."
}

// Run sends the sessions.
func (c *backfillCmd) Run(ctx context.Context, io *cmdIO) error {
	cfg, err := configuration(c.Config)
	if err != nil {
		return err
	}
	if cfg.Storage.Influx == nil {
		return usagef("%s has no [storage.influx]: it says which server to send to", orHere(c.Config))
	}
	if c.Data != "" {
		cfg.Station.Data = c.Data
	}
	a, err := archiveFlags{Data: cfg.Station.Data}.open(ctx, io)
	if err != nil {
		return err
	}
	defer a.Close() //nolint:errcheck // only read from
	ids, err := c.chosen(ctx, a)
	if err != nil {
		return err
	}
	o, err := station.InfluxOptions(cfg, zerolog.Nop())
	if err != nil {
		return usageError{err}
	}
	b, err := influx.NewBackfill(o, a, results.New(a).Flights)
	if err != nil {
		return usageError{fmt.Errorf("%s: %w", c.Config, err)}
	}
	defer b.Close()
	aside := uint64(0)
	for _, id := range ids {
		p := newProgress(io.Err, "sending "+id, "points", 0)
		done, err := b.Session(ctx, id, c.Replace, p.upTo)
		p.end()
		if err != nil {
			return fmt.Errorf("session %s: %w; what was sent stays, and sending again changes nothing", id, err)
		}
		aside += done.SetAside
		if err := c.report(io, done); err != nil {
			return err
		}
	}
	warnLost(a, io)
	if aside > 0 {
		fmt.Fprintf(io.Err, "padlark: the server refused %d points for good; they are in %s with the reason above each\n", aside, b.RejectedPath())
		return errBadVerdict
	}
	return nil
}

// chosen resolves the names.
func (c *backfillCmd) chosen(ctx context.Context, a *sqlite.Archive) ([]string, error) {
	if c.All != (len(c.Sessions) == 0) {
		return nil, usagef("which sessions? Name them, or give --all; padlark sessions lists what there is")
	}
	var ids []string
	if c.All {
		all, err := a.Sessions(ctx)
		for _, s := range all {
			ids = append(ids, s.ID)
		}
		return ids, err
	}
	for _, said := range c.Sessions {
		id, err := report.FindSession(ctx, a, said)
		if err != nil {
			return nil, err
		}
		ids = append(ids, id)
	}
	return ids, nil
}

func (c *backfillCmd) report(io *cmdIO, d influx.Copied) error {
	if c.JSON {
		return json.NewEncoder(io.Out).Encode(d)
	}
	how := ""
	if d.Replaced {
		how = ", after deleting what was there"
	}
	_, err := fmt.Fprintf(io.Out, "%s: %d samples, %d events, %d alarm changes, %d flights sent%s\n", d.Session, d.Samples, d.Events, d.Alarms, d.Flights, how)
	return err
}
