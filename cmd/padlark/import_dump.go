package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"padlark/cmd/padlark/config"
	"padlark/decode"
	"padlark/ingest"
	"padlark/storage/logimport"
)

// serialMark begins the name of a port where a file may stand.
const serialMark = "serial:"

// dumpBaud is the rate without --baud and without a configured link: that of
// most boards' own port (common practice, no source).
const dumpBaud = 115200

// dumpMost bounds what a board may send, which else could go on for ever.
const dumpMost = 1 << 30

// dump asks a board for its log, keeps what comes as a capture, and gives the
// capture's path. Besides the request line nothing is ever written to the
// port.
func (c *importCmd) dump(ctx context.Context, dir string, cio *cmdIO) (path, note string, err error) {
	plan, port, err := c.dumpPlan(strings.TrimPrefix(c.File, serialMark))
	if err != nil {
		return "", "", err
	}
	clock := ingest.StartClock()
	path = c.Keep
	if path == "" {
		if err := os.MkdirAll(dir, 0o750); err != nil {
			return "", "", fmt.Errorf("import: make the folder for the dump: %w", err)
		}
		path = filepath.Join(dir, "dump-"+linkWord(c.Rocket)+"-"+clock.Epoch.Format("20060102-150405")+".plarkcap")
	}
	w, err := ingest.CreateCapture(path, ingest.CaptureInfo{
		Station: "import", Epoch: clock.Epoch,
		Links: []ingest.CaptureLink{{Name: port.Name, Kind: logimport.DumpKind, Baud: port.Baud, Layout: c.Layout}},
	})
	if err != nil {
		return "", "", fmt.Errorf("import: %w", err)
	}
	name := port.Serial
	if port.USB != nil {
		name = "the board with " + port.USB.String()
	}
	if len(plan.Request) > 0 {
		fmt.Fprintf(cio.Err, "asking %s at %d baud for its log with %q, and sending nothing else\n", name, port.Baud, plan.Request)
	} else {
		fmt.Fprintf(cio.Err, "listening on %s at %d baud, and sending nothing: the layout has no request\n", name, port.Baud)
	}
	p, bytes := newProgress(cio.Err, "reading the board's log", "kB", 0), int64(0)
	d := ingest.Dump{
		Port: port, Request: plan.Request, End: plan.End, Settle: plan.Settle, Answer: plan.Answer, Quiet: plan.Quiet, Most: dumpMost,
	}
	res, err := d.Run(ctx, clock, func(k ingest.Chunk) error {
		bytes += int64(len(k.Bytes))
		p.at(bytes / 1000)
		return w.WriteChunk(k)
	})
	p.end()
	if err = errors.Join(err, w.Close()); err != nil {
		if res.Bytes == 0 {
			_ = os.Remove(path) // there is nothing in it
		} else {
			fmt.Fprintf(cio.Err, "what came is kept in %s\n", path)
		}
		return "", "", fmt.Errorf("import: %w", err)
	}
	fmt.Fprintf(cio.Err, "%d bytes read, kept in %s; padlark import %[2]s reads it again\n", res.Bytes, path)
	if res.Torn != "" {
		note = "the dump is torn: " + res.Torn + "; what had come is read"
	}
	if ctx.Err() != nil {
		return "", "", fmt.Errorf("import: interrupted; what had come is kept in %s", path)
	}
	return path, note, nil
}

// dumpPlan finds the layout's dump and the port's settings: those of the
// configured link on the port, if there is one.
func (c *importCmd) dumpPlan(path string) (plan decode.DumpPlan, port ingest.LinkConfig, err error) {
	if c.Config == "" {
		return plan, port, usagef("import %s: give the configuration with --config FILE: how to ask for a log stands in the layout's [layout.dump] "+
			"(padlark check --example shows it)", c.File)
	}
	cfg, err := config.Load(c.Config)
	if err != nil {
		return plan, port, usageError{err}
	}
	layout, known := cfg.Layout(c.Layout)
	switch {
	case !known:
		return plan, port, usagef("there is no layout %q in %s", c.Layout, c.Config)
	case layout.Dump == nil && !slices.ContainsFunc(cfg.Layouts, func(l decode.Layout) bool { return l.Name == c.Layout }):
		return plan, port, usagef("layout %q is built in and does not say how to ask for a log: write one for your board with [layout.dump] "+
			"(padlark check --example shows how), or save the log by other means and import the file", c.Layout)
	case layout.Dump == nil:
		return plan, port, usagef("layout %q does not say how to ask for a log: add [layout.dump] with request = \"…\" below it "+
			"(padlark check --example shows how), or save the log by other means and import the file", c.Layout)
	}
	if plan, err = layout.Dump.Plan(); err != nil {
		return plan, port, usageError{err}
	}
	port = dumpPort(path, cfg)
	if c.Baud != 0 {
		port.Baud = c.Baud
	}
	if port.USB == nil {
		if port.Serial, err = portAt(port.Serial); err != nil {
			return plan, port, fmt.Errorf("import %s: %w", c.File, err)
		}
	}
	if err := port.Validate(); err != nil {
		return plan, port, usageError{fmt.Errorf("import %s: %w", c.File, err)}
	}
	return plan, port, nil
}

// dumpPort is the port of this path with the settings of its configured link,
// or the port of the configured link of this name.
func dumpPort(path string, cfg *config.Config) ingest.LinkConfig {
	port := ingest.LinkConfig{Name: "dump", Serial: path, Baud: dumpBaud}
	for _, l := range cfg.Links {
		if l.Serial == path || l.Name == path && (l.Serial != "" || l.USB != nil) {
			port.Serial, port.USB = l.Serial, l.USB
			port.Baud, port.DataBits, port.Parity, port.StopBits = l.Baud, l.DataBits, l.Parity, l.StopBits
		}
	}
	return port
}

// portAt finds a port by its path, or by its name in /dev; the error names those
// that are there.
func portAt(path string) (string, error) {
	if path != "" {
		for _, p := range []string{path, filepath.Join("/dev", path)} {
			switch st, err := os.Stat(p); {
			case err != nil:
			case st.Mode().IsRegular() || st.IsDir():
				return "", fmt.Errorf("%s is no port: to import a file write its path without %s", p, serialMark)
			default:
				return p, nil
			}
		}
	}
	ports, err := ingest.Ports()
	if err != nil {
		return "", fmt.Errorf("list serial ports: %w", err)
	}
	var there []string
	for _, p := range ports {
		if strings.EqualFold(p.Path, path) {
			return p.Path, nil // one that is no file, as on Windows
		}
		there = append(there, strings.TrimSpace(p.Path+" "+p.Product))
	}
	what := path + " is not there"
	if path == "" {
		what = "the port is missing behind " + serialMark
	}
	if len(there) == 0 {
		return "", fmt.Errorf("%s, and neither is any other serial port: plug the board in", what)
	}
	return "", fmt.Errorf("%s; these ports are: %s. Plug the board in, or correct the path", what, strings.Join(there, ", "))
}
