package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"padlark/cmd/padlark/config"
	"padlark/cmd/padlark/sounder"
	"padlark/cmd/padlark/station"
	"padlark/decode"
	"padlark/ingest"
	"padlark/storage"
	"padlark/storage/bundle"
	"padlark/storage/journal"
	"padlark/storage/logimport"
	"padlark/storage/sqlite"
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
	dir := c.Data
	if dir == "" {
		var err error
		if dir, err = (archiveFlags{Config: c.Config}).folder(); err != nil {
			return err
		}
	}
	port, fromPort := strings.CutPrefix(c.File, "serial:")
	if c.File != "-" && !fromPort {
		f, err := os.Open(c.File)
		if err != nil {
			return fmt.Errorf("import: %w", err)
		}
		isBundle := bundle.Is(f)
		_ = f.Close() // only read from
		if isBundle {
			return importBundle(ctx, c.File, dir, cio)
		}
		// A journal says in its header of which session it is.
		if r, err := journal.Open(c.File, nil); err == nil {
			session := r.Info().Session
			_ = r.Close() // only read from
			if session != "" {
				return importJournal(ctx, c.File, dir, session, cio)
			}
		}
	}
	if c.Layout == "" || c.Rocket == "" {
		switch {
		case fromPort:
			return usagef("import %s: give --layout LAYOUT and --rocket NAME", c.File)
		case c.File == "-":
			return usagef("for a board's log on stdin give --layout LAYOUT and --rocket NAME; a bundle must be a file")
		}
		return usagef("%s is no bundle: for a board's log give --layout LAYOUT and --rocket NAME", c.File)
	}
	note := ""
	if fromPort {
		var err error
		if c.File, note, err = c.dump(ctx, port, dir, cio); err != nil {
			return err
		}
	}
	return c.log(ctx, dir, note, cio)
}

// importJournal brings the session of a journal that was copied from another
// computer into the archive and keeps the journal. What is there already stays as
// it is.
func importJournal(ctx context.Context, path, dir, session string, cio *cmdIO) error {
	a, err := openArchive(ctx, dir)
	if err != nil {
		return err
	}
	torn, err := station.KeepCopy(ctx, a, path, dir, session)
	if torn > 0 {
		fmt.Fprintln(cio.Err, "padlark: "+station.TornWords(torn))
	}
	if err != nil {
		err = fmt.Errorf("import journal: %w", err)
	} else {
		fmt.Fprintf(cio.Out, "session %s is in %s\n", session, dir)
	}
	return errors.Join(err, a.Close())
}

// log takes in a board's log or a captured stream. note is what is known of how
// it was read, empty if nothing is.
func (c *importCmd) log(ctx context.Context, dir, note string, cio *cmdIO) (err error) {
	var at time.Time
	if c.At != "" {
		if at, err = time.Parse(time.RFC3339Nano, c.At); err != nil {
			return usagef("--at %s: write it as 2026-06-13T09:30:00Z", c.At)
		}
	}
	file, name, written, err := c.open(dir, cio)
	if err != nil {
		return fmt.Errorf("import: %w", err)
	}
	defer file.Close() //nolint:errcheck // only read from
	archive, err := openArchive(ctx, dir)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, archive.Close()) }()
	base, cfg, err := c.base(ctx, archive)
	if err != nil {
		return err
	}
	link := config.FileLink{
		Link: "log-" + logimport.LinkName(name), File: c.File, Layout: c.Layout, Rocket: c.Rocket, About: "A board's own log, imported.",
	}
	if l, ok := cfg.Layout(c.Layout); ok && l.Form == decode.Beeps {
		return c.beeps(ctx, file, sounder.Keeping{Archive: archive, Dir: dir, Version: softwareVersion(), Config: base,
			Link: link.Link, Layout: l.Name, Rocket: c.Rocket, Epoch: at}, written, l, cio)
	}
	log, cfg, err := c.read(ctx, file, base, link, cio)
	switch {
	case errors.Is(err, context.Canceled):
		return fmt.Errorf("import %s: interrupted; nothing was stored", c.File)
	case err != nil:
		return err
	}
	if note != "" {
		log.Hints = append([]string{note}, log.Hints...)
	}
	for _, h := range log.Hints {
		fmt.Fprintf(cio.Err, "note: %s\n", h)
	}
	if log.Good == 0 {
		why := log.Misfit()
		if why == "" {
			why = "the reasons are above: take another layout, or correct it and try it with padlark check CONFIG --try " + c.File
		}
		return fmt.Errorf("no line of %s fits the layout %s: %s", c.File, c.Layout, why)
	}
	p := newProgress(cio.Err, "storing", "lines", 0)
	job := logimport.Job{
		Archive: archive, Dir: dir, Version: softwareVersion(), Link: link.Link, Rocket: c.Rocket,
		At: at, Written: written, Log: log, Config: configured(cfg), Stored: p.at,
		With: func(s *storage.Session) (*logimport.Configured, error) {
			cfg, err := config.WithFile(s.Latest(), link)
			if err != nil {
				return nil, err
			}
			return configured(cfg), nil
		},
	}
	done, err := job.Run(ctx)
	p.end()
	if errors.Is(err, context.Canceled) {
		return fmt.Errorf("import %s: interrupted before anything was stored", c.File)
	} else if err != nil {
		return fmt.Errorf("import %s: %w", c.File, err)
	}
	done.File = c.File
	return c.report(&done, dir, cio)
}

// configured is what an import needs of a configuration.
func configured(cfg *config.Config) *logimport.Configured {
	return &logimport.Configured{
		Text: cfg.Text, Station: cfg.Station.Name, Site: cfg.Site, Rockets: cfg.Rockets, Links: cfg.Links, Line: cfg.Line,
	}
}

// open opens the log, and says how it is called and when it was written. What
// comes on stdin goes into a file first, since it is read more than once.
func (c *importCmd) open(dir string, cio *cmdIO) (f *os.File, name string, written time.Time, err error) {
	if c.File == "-" {
		f, err = logimport.Spool(cio.In, dir)
		return f, "stdin", time.Now(), err
	}
	if f, err = os.Open(c.File); err != nil {
		return nil, "", written, err
	}
	st, err := f.Stat()
	switch {
	case err != nil:
	case st.IsDir():
		err = fmt.Errorf("%s is a folder: name the file in it", c.File)
	case !st.Mode().IsRegular():
		err = fmt.Errorf("%[1]s is no file: for a board on a port write serial:%[1]s, for a pipe -", c.File)
	default:
		return f, filepath.Base(c.File), st.ModTime(), nil
	}
	return nil, "", written, errors.Join(err, f.Close())
}

// base is the configuration that the log's link is added to: the one given, or
// that of the newest session of the rocket.
func (c *importCmd) base(ctx context.Context, a *sqlite.Archive) (text string, cfg *config.Config, err error) {
	name := "configuration"
	if c.Config != "" {
		data, err := os.ReadFile(c.Config)
		if err != nil {
			return "", nil, usagef("import: read configuration: %v", err)
		}
		name, text = c.Config, string(data)
	} else if text, err = logimport.LatestConfig(ctx, a, c.Rocket); err != nil {
		return "", nil, err
	}
	if text == "" {
		text = config.Bare
	}
	if cfg, err = config.ParsePart(name, []byte(text)); err != nil {
		return "", nil, usageError{err}
	}
	return text, cfg, nil
}

// read reads the log. If it tells the board's id, the configuration knows it.
func (c *importCmd) read(ctx context.Context, file *os.File, base string, link config.FileLink, cio *cmdIO) (*logimport.Log, *config.Config, error) {
	cfg, err := config.WithFile(base, link)
	if err != nil {
		return nil, nil, usageError{err}
	}
	// It is needed only to store, and would be wrong then too.
	if _, err := cfg.NewDecoder(); err != nil {
		return nil, nil, usageError{fmt.Errorf("import: the configuration: %w", err)}
	}
	lc := logimport.Config{Link: link.Link, Layout: c.Layout, Layouts: cfg.Layouts, Rockets: cfg.Decoder().Rockets, Rocket: c.Rocket, Rate: c.Rate}
	src, err := logimport.OpenFile(ctx, file, lc)
	if err != nil {
		return nil, nil, fmt.Errorf("import %s: %w", c.File, err)
	}
	p := newProgress(cio.Err, "reading", "kB", src.Size/1000)
	lc.OnRead = func(n int64) { p.at(n / 1000) }
	lc.OnSkip = func(s logimport.Skip) { fmt.Fprintf(p, "skipped %s\n", s) }
	log, err := logimport.Read(ctx, src, lc)
	p.end()
	if errors.Is(err, logimport.ErrNoClock) {
		return nil, nil, usageError{err}
	} else if err != nil {
		return nil, nil, err
	}
	if cfg.Rocket(c.Rocket).ID == nil && len(log.IDs) == 1 {
		// The person says whose log it is, the board says its id.
		link.ID = &log.IDs[0]
		if cfg, err = config.WithFile(base, link); err != nil {
			return nil, nil, usageError{err}
		}
	}
	return log, cfg, nil
}

// report prints what was done.
func (c *importCmd) report(d *logimport.Done, dir string, cio *cmdIO) error {
	if c.JSON {
		return printJSON(cio.Out, " ", d)
	}
	fmt.Fprintf(cio.Out, "session %s: %d samples of %s, link %s; flights found: %d; pieces skipped: %d\n", d.Session, d.Samples, c.Rocket, d.Link, d.Flights, d.Bad)
	fmt.Fprintf(cio.Out, "time of day: %s\n", d.Dated)
	for _, a := range d.Aligned {
		fmt.Fprintln(cio.Out, a)
	}
	_, err := fmt.Fprintf(cio.Err, "Look at it with padlark flights --data %s\n", dir)
	return err
}

// dump asks a board for its log, keeps what comes as a capture, and gives the
// capture's path. Besides the request line nothing is ever written to the
// port.
func (c *importCmd) dump(ctx context.Context, path, dir string, cio *cmdIO) (capture, note string, err error) {
	plan, port, err := c.dumpPlan(path)
	if err != nil {
		return "", "", err
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
	p := newProgress(cio.Err, "reading the board's log", "kB", 0)
	d := ingest.Dump{Port: port, Request: plan.Request, End: plan.End, Settle: plan.Settle, Answer: plan.Answer, Quiet: plan.Quiet}
	got, err := logimport.KeepDump(ctx, d, c.Layout, c.Rocket, c.Keep, dir, func(bytes int64) { p.at(bytes / 1000) })
	p.end()
	switch {
	case err != nil:
		if got.Path != "" {
			fmt.Fprintf(cio.Err, "what came is kept in %s\n", got.Path)
		}
		return "", "", fmt.Errorf("import: %w", err)
	case ctx.Err() != nil:
		err = fmt.Errorf("import: interrupted; what had come is kept in %s", got.Path)
	}
	fmt.Fprintf(cio.Err, "%d bytes read, kept in %s; padlark import %[2]s reads it again\n", got.Bytes, got.Path)
	if got.Torn != "" {
		note = "the dump is torn: " + got.Torn + "; what had come is read"
	}
	return got.Path, note, err
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
	if _, known := cfg.Layout(c.Layout); !known {
		return plan, port, usagef("there is no layout %q in %s", c.Layout, c.Config)
	}
	if plan, err = cfg.DumpPlan(c.Layout); err != nil {
		return plan, port, usageError{err}
	}
	port = cfg.DumpPort(path)
	if c.Baud != 0 {
		port.Baud = c.Baud
	}
	if port.USB == nil {
		if port.Serial, err = ingest.FindPort(port.Serial); err != nil {
			return plan, port, fmt.Errorf("import %s: %w", c.File, err)
		}
	}
	if err := port.Validate(); err != nil {
		return plan, port, usageError{fmt.Errorf("import %s: %w", c.File, err)}
	}
	return plan, port, nil
}

// beepsDone is what was done with a recording, as it is printed with --json.
type beepsDone struct {
	File    string       `json:"file"`
	Session string       `json:"session"`
	Rocket  string       `json:"rocket"`
	ApogeeM *float64     `json:"apogee_m"`
	SDM     *float64     `json:"apogee_sd_m"`
	Tones   []beepedTone `json:"tones"`
}

type beepedTone struct {
	PitchHz int    `json:"pitch_hz"`
	Number  *int   `json:"number"` // null where there is none
	Sure    bool   `json:"sure"`
	Why     string `json:"why,omitempty"`
	Repeats int    `json:"repeats"`
}

// beeps takes in a recording of a sounder.
func (c *importCmd) beeps(ctx context.Context, file io.Reader, k sounder.Keeping, written time.Time, l decode.Layout, cio *cmdIO) error {
	rec, err := sounder.Listen(ctx, file, l)
	if err != nil {
		return fmt.Errorf("import %s: %w", c.File, err)
	}
	if k.Epoch.IsZero() {
		k.Epoch = written.Add(-rec.Length).Truncate(time.Second)
	}
	k.Epoch = k.Epoch.UTC()
	session, found, err := sounder.Keep(ctx, k, &rec)
	if err != nil && !errors.Is(err, sounder.ErrUnsure) {
		return err
	}
	done := beepsDone{File: c.File, Session: session, Rocket: c.Rocket, Tones: []beepedTone{}}
	for _, t := range rec.Tones {
		b := beepedTone{PitchHz: t.Reading.PitchHz, Sure: t.Reading.Sure, Why: t.Reading.Why, Repeats: t.Reading.Repeats}
		if t.Reading.Found {
			b.Number = &t.Reading.Number
		}
		done.Tones = append(done.Tones, b)
	}
	if len(found) > 0 {
		done.ApogeeM, done.SDM = found[0].AltitudeM, found[0].AltitudeSD
	}
	if c.JSON {
		return errors.Join(printJSON(cio.Out, " ", done), err)
	}
	showTones(cio.Out, rec, l)
	if err != nil {
		return fmt.Errorf("import %s: %w", c.File, err)
	}
	for _, e := range found {
		fmt.Fprintf(cio.Out, "%s flight %d: apogee %.1f m ± %.1f m, session %s\n", e.Rocket, e.Flight, *e.AltitudeM, *e.AltitudeSD, session)
		wrap(cio.Out, "  ", e.Note)
	}
	_, err = fmt.Fprintf(cio.Err, "Look at it with padlark flights --data %s\n", k.Dir)
	return err
}

// showTones draws what was heard.
func showTones(out io.Writer, rec sounder.Recording, l decode.Layout) {
	if len(rec.Tones) == 0 {
		fmt.Fprintf(out, "No tone between 500 Hz and 6 kHz stands out of the %.0f s that were heard.\n", rec.Length.Seconds())
	}
	for _, t := range rec.Tones {
		wrap(out, "", sounder.Words(t, sounder.Code(l)))
		if !t.Reading.Found {
			continue
		}
		for _, line := range sounder.Draw(t, 76) {
			fmt.Fprintln(out, "  "+line)
		}
	}
}
