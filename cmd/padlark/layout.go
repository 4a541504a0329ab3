package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"regexp"
	"strconv"
	"strings"
	"time"

	"padlark/decode/guess"
	"padlark/ingest"
	"padlark/ingest/broker"
)

type layoutCmd struct {
	Source string        `arg:"" help:"FILE with saved bytes or a capture; - for stdin; or where the board is heard: /dev/ttyUSB0, :9750 for UDP, or KIND:ADDRESS with a key of [[link]], such as tcp:192.168.4.1:9750." placeholder:"FILE|PORT"`
	Baud   int           `default:"57600" help:"Rate of a serial port (${default})."`
	Link   string        `help:"Of a capture with several links: this one." placeholder:"NAME"`
	For    time.Duration `default:"20s" help:"How long to listen to a port (${default})."`
	Topic  string        `help:"With mqtt: and mqtt_listen: what to subscribe to." placeholder:"TOPIC"`
	User   string        `help:"With mqtt: and mqtt_listen: the user to show, or to ask for." placeholder:"NAME"`
	Word   string        `name:"password-file" type:"path" help:"With --user: the file with the password." placeholder:"FILE"`
}

// Help shows an example.
func (layoutCmd) Help() string {
	return "Example: padlark layout /dev/ttyUSB0 --baud 115200 > padlark.toml\n\n" +
		"KIND is tcp, tcp_listen, udp, tnc, gpsd, mqtt, mqtt_listen, serial or command (command:rtl_433 -F json). " +
		"Guesses how a board's own lines or packets are laid out, and prints a commented configuration that says how sure " +
		"it is of each field; what it has to ask is marked TODO, and told on stderr. Nothing is sent to the board; some boards " +
		"start anew when their port is opened, and a servo moves then. Then try it: padlark check padlark.toml --try FILE"
}

// Run listens, guesses and prints.
func (c *layoutCmd) Run(ctx context.Context, io *cmdIO) error {
	in, lines, err := c.listen(ctx, io)
	if err != nil {
		return err
	}
	g, err := guess.Look(in)
	if err != nil {
		return fmt.Errorf("guess a layout for %s: %w", c.Source, err)
	}
	if _, err := fmt.Fprint(io.Out, g.TOML(c.Source, lines...)); err != nil {
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

// comPort is a serial port as Windows names it.
var comPort = regexp.MustCompile(`(?i)^com0*[1-9][0-9]*$`)

// link is where to listen, and the lines of a [[link]] that hears the same.
func (c *layoutCmd) link() (cfg ingest.LinkConfig, lines []string, err error) {
	cfg = ingest.LinkConfig{Name: "board", Topic: c.Topic, User: c.User, PasswordFile: c.Word}
	st, statErr := os.Stat(c.Source)
	kind, addr, _ := strings.Cut(c.Source, ":")
	switch {
	case c.Source == "-", statErr == nil && st.Mode().IsRegular():
		cfg.CaptureLink = c.Link
		if cfg.Stdin = c.Source == "-"; !cfg.Stdin {
			cfg.File = c.Source
		}
		return cfg, []string{"serial = \"/dev/ttyUSB0\"   # TODO where it is heard (padlark ports)", "baud = 57600"}, nil
	case statErr == nil && st.Mode()&fs.ModeCharDevice != 0 || strings.HasPrefix(c.Source, "/dev/") || comPort.MatchString(c.Source):
		kind, addr = "serial", c.Source
	}
	at, known := map[string]*string{"serial": &cfg.Serial, "udp": &cfg.UDP, "tcp": &cfg.TCP, "tcp_listen": &cfg.TCPListen, "tnc": &cfg.TNC,
		"gpsd": &cfg.GPSD, "mqtt": &cfg.MQTT, "mqtt_listen": &cfg.MQTTListen}[kind]
	switch {
	case known:
		*at = addr
	case kind == "command":
		if cfg.Command = strings.Fields(addr); len(cfg.Command) == 0 {
			cfg.Command = []string{""} // which is told as such
		}
		words := make([]string, len(cfg.Command))
		for i, w := range cfg.Command {
			words[i] = strconv.Quote(w)
		}
		return cfg, []string{"command = [" + strings.Join(words, ", ") + "]"}, nil
	case kind == "nats":
		return cfg, nil, usagef("layout %s: the bus is the running station's own: let the program write what it publishes to a file, a message a line, and name that", c.Source)
	case strings.Contains(c.Source, ":"):
		kind, addr, cfg.UDP = "udp", c.Source, c.Source
	case errors.Is(statErr, fs.ErrNotExist):
		return cfg, nil, usagef("there is no file or port %q: name a file, a serial port (padlark ports lists them), :PORT for UDP, or KIND:ADDRESS such as tcp:192.168.4.1:9750", c.Source)
	default:
		return cfg, nil, usagef("%s is no file with saved bytes", c.Source)
	}
	lines = []string{fmt.Sprintf("%s = %q", kind, addr)}
	if kind == "serial" {
		cfg.Baud = c.Baud
		lines = append(lines, fmt.Sprintf("baud = %d", c.Baud))
	}
	for _, k := range []struct{ key, value string }{{"topic", c.Topic}, {"user", c.User}, {"password_file", c.Word}} {
		if k.value != "" {
			lines = append(lines, fmt.Sprintf("%s = %q", k.key, k.value))
		}
	}
	return cfg, lines, nil
}

// listen collects what there is, and the lines of a [[link]] that hears it.
func (c *layoutCmd) listen(ctx context.Context, io *cmdIO) (in guess.Input, lines []string, err error) {
	cfg, lines, err := c.link()
	if err != nil {
		return in, nil, err
	}
	saved := cfg.File != "" || cfg.Stdin
	clock := ingest.StartClock()
	if saved {
		clock = ingest.NewVirtualClock(time.Unix(0, 0)).Clock()
	}
	var problem string
	link, err := ingest.NewLink(cfg, ingest.Env{Clock: clock, Stdin: io.In, ServeMQTT: broker.Serve, OnState: func(_ string, s ingest.LinkState) {
		if s.State != ingest.StateUp && ctx.Err() == nil { // then it is only told to stop
			problem = s.Words
		}
	}})
	if err != nil {
		return in, nil, usageError{err}
	}
	if !saved {
		fmt.Fprintf(io.Err, "listening to %s for %v; Ctrl-C takes what there is\n", c.Source, c.For)
		var stop context.CancelFunc
		ctx, stop = context.WithTimeout(ctx, c.For)
		defer stop()
	}
	heard, err := ingest.Gather(ctx, link, guess.MostBytes, guess.MostFrames)
	switch {
	case err != nil:
		return in, nil, fmt.Errorf("listen to %s: %w", c.Source, err)
	case len(heard.Bytes)+len(heard.Messages) == 0 && problem != "":
		return in, nil, fmt.Errorf("nothing was heard: %s", problem)
	}
	return guess.Input(heard), lines, nil
}
