package main

import (
	"context"
	"fmt"

	"padlark/cmd/padlark/station"
)

type showCmd struct {
	Dir    string `arg:"" type:"path" help:"Data folder of a station, or a copy of one."`
	Listen string `default:"127.0.0.1:9700" help:"Where the pages are, on this computer." placeholder:"HOST:PORT"`
}

// Help shows an example.
func (showCmd) Help() string {
	return "Example: padlark show /media/stick/padlark\n\n" +
		"Flights, sessions, replays and comparisons on pages, read from a folder that stays as it is. Also while a station " +
		"writes to it."
}

// Run serves the pages until ctx ends.
func (c *showCmd) Run(ctx context.Context, io *cmdIO) error {
	a, err := archiveFlags{Data: c.Dir}.open(ctx, io)
	if err != nil {
		return err
	}
	defer a.Close() //nolint:errcheck // only read from
	err = station.Show(ctx, a, station.ShowOptions{
		Listen: c.Listen, Version: softwareVersion(), Log: newLog(io.Err),
		Ready: func(pages string) { fmt.Fprintf(io.Err, "pages at %s; Ctrl-C ends it\n", pages) },
	})
	warnLost(a, io)
	return err
}
