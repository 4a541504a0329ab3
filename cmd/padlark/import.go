package main

import (
	"context"
	"fmt"
	"os"
	"strings"

	"padlark/storage/bundle"
	"padlark/storage/journal"
)

type importCmd struct {
	File   string  `arg:"" help:"A bundle, a session's journal, a board's own log, or a capture; - for a log on stdin; serial:PORT asks the board for its log; PORT is its path or the name of its link."`
	Data   string  `help:"Folder of the archive to put it into; made if it is not there." placeholder:"DIR"`
	Config string  `short:"c" type:"path" help:"Configuration with the layout and the rocket." placeholder:"FILE"`
	Layout string  `help:"Layout of the log: lark-text, lark-bin or one of the configuration."`
	Rocket string  `help:"Rocket whose log it is."`
	At     string  `help:"When the log begins, as 2026-06-13T09:30:00Z; only for a log that no radio flight dates." placeholder:"TIME"`
	Rate   float64 `help:"Lines a second, for a log without a clock." placeholder:"HZ"`
	Baud   int     `help:"With serial:PORT: the line's rate; else that of the configured link on the port, else 115200." placeholder:"BD"`
	Keep   string  `type:"path" help:"With serial:PORT: the file to keep the dump in; else one in the archive's folder." placeholder:"FILE"`
	JSON   bool    `name:"json" help:"Print what was done as one JSON object."`
}

// Help shows an example.
func (importCmd) Help() string {
	return "Example: padlark import teal.log --layout lark-text --rocket Teal --data DIR\n\n" +
		"A flight that was also heard by radio is found by the shape of its heights; both are then laid over each other " +
		"and kept three times: the radio's session as it was, the log alone, and both merged. " +
		"padlark import FILE.plarkbundle --data DIR takes in the session of another station.\n\n" +
		"padlark import serial:/dev/ttyUSB0 --layout L --rocket Teal -c padlark.toml asks a board on a wire for its log, if [layout.dump] says how: " +
		"the request is sent once, and nothing else is ever written to the port. What comes is kept as a file first, also if it breaks off."
}

// Run finds out what the file is and takes it in.
func (c *importCmd) Run(ctx context.Context, cio *cmdIO) error {
	is, isJournal, fromPort := false, false, strings.HasPrefix(c.File, serialMark)
	if c.File != "-" && !fromPort {
		f, err := os.Open(c.File)
		if err != nil {
			return fmt.Errorf("import: %w", err)
		}
		is = bundle.Is(f)
		_ = f.Close() // only read from
		// A journal says in its header of which session it is.
		if r, err := journal.Open(c.File, nil); err == nil {
			isJournal = r.Info().Session != ""
			_ = r.Close() // only read from
		}
	}
	dir := c.Data
	if dir == "" {
		var err error
		if dir, err = (archiveFlags{Config: c.Config}).folder(); err != nil {
			return err
		}
	}
	if is {
		return importBundle(ctx, c.File, dir, cio)
	}
	if isJournal {
		return importJournal(ctx, c.File, dir, cio)
	}
	note := ""
	if fromPort {
		if c.Layout == "" || c.Rocket == "" {
			return usagef("import %s: give --layout LAYOUT and --rocket NAME", c.File)
		}
		var err error
		if c.File, note, err = c.dump(ctx, dir, cio); err != nil {
			return err
		}
	}
	return c.log(ctx, dir, note, cio)
}
