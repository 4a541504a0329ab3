package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"

	"padlark/cmd/padlark/station"
)

type collectCmd struct {
	remoteFlags
	URL     string   `name:"url" required:"" help:"The server, or several of a cluster with commas between them." placeholder:"nats://HOST:4222"`
	Data    string   `required:"" help:"Folder for the central archive and the journals." placeholder:"DIR"`
	Station []string `help:"Only this station. May be given several times; all if not given." placeholder:"NAME"`
}

// Help shows an example.
func (collectCmd) Help() string {
	return "Example: padlark collect --url nats://10.0.0.2:4222 --data central\n\n" +
		"Writes what stations with [bus] url send to that server into one archive, each frame once, until Ctrl-C. A station that is cut off catches up when it is back."
}

// Run gathers until ctx ends.
func (c *collectCmd) Run(ctx context.Context, io *cmdIO) error {
	log := newLog(io.Err)
	r, err := c.remote(c.URL)
	if err != nil {
		return err
	}
	r.Log = log
	if err := os.MkdirAll(c.Data, 0o755); err != nil {
		return fmt.Errorf("make data folder: %w", err)
	}
	name, err := station.CollectorName(c.Data)
	if err != nil {
		return err
	}
	a, err := openArchive(ctx, c.Data)
	if err != nil {
		return err
	}
	g, err := station.NewGathering(ctx, a, c.Data, log)
	if err != nil {
		return errors.Join(err, a.Close())
	}
	from := "all stations"
	if len(c.Station) > 0 {
		from = strings.Join(c.Station, ", ")
	}
	started, trouble := false, ""
	err = station.Collect(ctx, station.Collection{Remote: r, Stations: c.Station, Name: name}, g.Take, func(err error) {
		switch {
		case err == nil && !started:
			started = true
			fmt.Fprintf(io.Err, "collecting from %s into %s\n", from, c.Data)
		case err == nil && trouble != "":
			trouble = ""
			log.Info().Msg("it goes on")
		case err != nil && err.Error() != trouble:
			trouble = err.Error()
			log.Warn().Err(err).Msg("nothing is collected; it is tried again and again")
		}
	})
	return errors.Join(err, g.Close(), a.Close())
}
