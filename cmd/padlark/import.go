package main

import (
	"context"
	"fmt"
	"os"

	"padlark/storage/bundle"
)

type importCmd struct {
	File   string  `arg:"" help:"A bundle, a board's own log, or a capture; - for a log on stdin."`
	Data   string  `help:"Folder of the archive to put it into; made if it is not there." placeholder:"DIR"`
	Config string  `short:"c" type:"path" help:"Configuration with the layout and the rocket." placeholder:"FILE"`
	Layout string  `help:"Layout of the log: lark-text, lark-bin or one of the configuration."`
	Rocket string  `help:"Rocket whose log it is."`
	At     string  `help:"When the log begins, as 2026-06-13T09:30:00Z; only for a log that no radio flight dates." placeholder:"TIME"`
	Rate   float64 `help:"Lines a second, for a log without a clock." placeholder:"HZ"`
	JSON   bool    `name:"json" help:"Print what was done as one JSON object."`
}

// Help shows an example.
func (importCmd) Help() string {
	return "Example: padlark import teal.log --layout lark-text --rocket Teal --data DIR\n\n" +
		"A flight that was also heard by radio is found by the shape of its heights; both are then laid over each other " +
		"and kept three times: the radio's session as it was, the log alone, and both merged. " +
		"padlark import FILE.plarkbundle --data DIR takes in the session of another station."
}

// Run finds out what the file is and takes it in.
func (c *importCmd) Run(ctx context.Context, cio *cmdIO) error {
	is := false
	if c.File != "-" {
		f, err := os.Open(c.File)
		if err != nil {
			return fmt.Errorf("import: %w", err)
		}
		is = bundle.Is(f)
		_ = f.Close() // only read from
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
	return c.log(ctx, dir, cio)
}
