package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"
	"time"

	"padlark/decode/guess"
	"padlark/ingest"
	"padlark/ingest/broker"
)

type layoutCmd struct {
	Source string        `arg:"" help:"FILE with saved bytes or a capture; or where the board is heard: /dev/ttyUSB0, or :9750 for UDP." placeholder:"FILE|PORT"`
	Baud   int           `default:"57600" help:"Rate of a serial port (${default})."`
	Link   string        `help:"Of a capture with several links: this one." placeholder:"NAME"`
	For    time.Duration `default:"20s" help:"How long to listen to a port (${default})."`
}

// Help shows an example.
func (layoutCmd) Help() string {
	return "Example: padlark layout /dev/ttyUSB0 --baud 115200 > padlark.toml\n\n" +
		"Guesses how a board's own lines or packets are laid out, and prints a commented configuration that says how sure " +
		"it is of each field; what it has to ask is marked TODO, and told on stderr. Nothing is sent to the board; some boards " +
		"start anew when their port is opened, and a servo moves then. Then try it: padlark check padlark.toml --try FILE"
}

// Run listens, guesses and prints.
func (c *layoutCmd) Run(ctx context.Context, io *cmdIO) error {
	in, line, err := c.listen(ctx, io)
	if err != nil {
		return err
	}
	g, err := guess.Look(in)
	if err != nil {
		return fmt.Errorf("guess a layout for %s: %w", c.Source, err)
	}
	if _, err := fmt.Fprint(io.Out, g.TOML(c.Source, line)); err != nil {
		return fmt.Errorf("print the layout: %w", err)
	}
	wrap(io.Err, "", fmt.Sprintf("%d of %d frames can be read.", g.Read, g.Frames))
	for _, ask := range g.Asks {
		wrap(io.Err, "  ? ", ask)
	}
	for _, col := range g.Columns {
		if col.Ask != "" {
			wrap(io.Err, "  ? ", fmt.Sprintf("%s: %s", col.Field.Name, col.Ask))
		}
	}
	if g.Read == 0 {
		return errBadVerdict
	}
	return nil
}

// listen collects what there is, and the line of a [[link]] that hears it.
func (c *layoutCmd) listen(ctx context.Context, io *cmdIO) (in guess.Input, line string, err error) {
	cfg := ingest.LinkConfig{Name: "board", Baud: c.Baud}
	clock := ingest.StartClock()
	st, statErr := os.Stat(c.Source)
	switch {
	case statErr == nil && st.Mode().IsRegular():
		cfg.File, cfg.CaptureLink, cfg.Baud = c.Source, c.Link, 0
		clock = ingest.NewVirtualClock(time.Unix(0, 0)).Clock()
		line = "serial = \"/dev/ttyUSB0\"   # TODO where it is heard (padlark ports)\nbaud = 57600"
	case statErr == nil && st.Mode()&fs.ModeCharDevice != 0 || strings.HasPrefix(c.Source, "/dev/") || strings.HasPrefix(strings.ToUpper(c.Source), "COM"):
		cfg.Serial = c.Source
		line = fmt.Sprintf("serial = %q\nbaud = %d", c.Source, c.Baud)
	case strings.Contains(c.Source, ":"):
		cfg.UDP, cfg.Baud = c.Source, 0
		line = fmt.Sprintf("udp = %q", c.Source)
	case errors.Is(statErr, fs.ErrNotExist):
		return in, "", usagef("there is no file or port %q: name a file, a serial port (padlark ports lists them), or :PORT for UDP", c.Source)
	default:
		return in, "", usagef("%s is no file with saved bytes", c.Source)
	}
	var problem string
	link, err := ingest.NewLink(cfg, ingest.Env{Clock: clock, ServeMQTT: broker.Serve, OnState: func(_ string, s ingest.LinkState) {
		if s.State != ingest.StateUp {
			problem = s.Words
		}
	}})
	if err != nil {
		return in, "", usageError{err}
	}
	if cfg.File == "" {
		fmt.Fprintf(io.Err, "listening to %s for %v; Ctrl-C takes what there is\n", c.Source, c.For)
		var stop context.CancelFunc
		ctx, stop = context.WithTimeout(ctx, c.For)
		defer stop()
	}
	var first, last time.Duration
	err = link.Run(ctx, func(ch ingest.Chunk) error {
		if len(ch.Bytes) == 0 {
			return nil
		}
		if first == 0 {
			first = ch.Heard
		}
		last = ch.Heard
		if ch.Datagram || ch.Framed.N > 0 {
			in.Messages = append(in.Messages, append([]byte(nil), ch.Bytes...))
		} else {
			in.Bytes = append(in.Bytes, ch.Bytes...)
		}
		if len(in.Bytes) > guess.MostBytes || len(in.Messages) > guess.MostFrames {
			return errEnough
		}
		return nil
	})
	if err != nil && !errors.Is(err, errEnough) {
		return in, "", fmt.Errorf("listen to %s: %w", c.Source, err)
	}
	in.Seconds = (last - first).Seconds()
	if len(in.Bytes)+len(in.Messages) == 0 && problem != "" {
		return in, "", fmt.Errorf("nothing was heard: %s", problem)
	}
	return in, line, nil
}

// errEnough ends listening when more would not be looked at.
var errEnough = errors.New("enough was heard")
