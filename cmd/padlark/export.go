package main

import (
	"context"
	"fmt"
	"io"
	"slices"
	"text/tabwriter"
	"time"

	"padlark/storage"
	"padlark/storage/export"
	"padlark/storage/report"
	"padlark/storage/results"
	"padlark/storage/sqlite"
)

type exportCmd struct {
	archiveFlags
	Session string        `arg:"" optional:"" help:"Session, or how its name begins (the newest if not given); or a flight: Teal-1."`
	Rocket  string        `help:"Only this rocket."`
	Flight  int           `help:"Only this flight of the rocket, with some seconds before and after it."`
	Format  string        `default:"csv" help:"What to write; see --formats."`
	Out     string        `short:"o" aliases:"output" default:"-" help:"File to write; - for stdout." placeholder:"FILE"`
	Columns []string      `help:"Only these columns of CSV and Parquet, in this order; besides the channels since_liftoff_s, height_m, height_sd_m, speed_mps, speed_sd_mps and phase." placeholder:"NAME,..."`
	Offset  time.Duration `help:"Of vtt and srt: when the rocket leaves the pad in the video, such as 12.5s." placeholder:"TIME"`
	Force   bool          `help:"Overwrite the file if it is there."`
	Formats bool          `help:"List the formats."`
}

// Help shows an example.
func (exportCmd) Help() string {
	return "Example: padlark export --data padlark-demo --rocket Teal --flight 1 -o teal.csv"
}

// Run writes the chosen samples.
func (c *exportCmd) Run(ctx context.Context, cio *cmdIO) error {
	if c.Formats {
		return listFormats(cio.Out)
	}
	if c.Format == bundleFormat {
		return c.bundle(ctx, cio)
	}
	var format export.Format
	if !c.isSubtitles() {
		var err error
		if format, err = export.Lookup(c.Format); err != nil {
			return usagef("%w, %s, vtt, srt", err, bundleFormat)
		}
	}
	if len(c.Columns) > 0 && c.Format != "csv" && c.Format != "parquet" {
		return usagef("--columns are of csv and parquet, not of %s", c.Format)
	}
	if c.Flight != 0 && c.Rocket == "" {
		return usagef("--flight counts the flights of one rocket: give --rocket too")
	}
	a, err := c.open(ctx, cio)
	if err != nil {
		return err
	}
	defer a.Close() //nolint:errcheck // only read from
	session, err := c.chosen(ctx, a, cio)
	if err != nil {
		return err
	}
	q := storage.Query{Session: session, Rocket: c.Rocket, Flight: c.Flight}
	if err := refuseVoid(ctx, a, q); err != nil {
		return err
	}
	if c.isSubtitles() {
		return c.subtitles(ctx, a, q, cio)
	}
	src, err := c.source(ctx, a, q)
	if err != nil {
		return err
	}
	var n uint64
	err = writeOut(cio, c.Out, c.Force, func(w io.Writer) error {
		if n, err = format(ctx, w, src, q); err == nil && n == 0 {
			err = c.nothing(session, len(a.Lost())) // an empty file is of no use
		}
		return err
	})
	warnLost(a, cio)
	if err != nil {
		return err
	}
	fmt.Fprintf(cio.Err, "%d samples of session %s written\n", n, session)
	return nil
}

func (c *exportCmd) isSubtitles() bool { return c.Format == "vtt" || c.Format == "srt" }

// subtitles writes those of one flight.
func (c *exportCmd) subtitles(ctx context.Context, a *sqlite.Archive, q storage.Query, cio *cmdIO) error {
	if q.Flight == 0 {
		return usagef("subtitles are of one flight: name it, such as Teal-1")
	}
	f, err := results.New(a).Flight(ctx, q.Session, q.Rocket, q.Flight)
	if err != nil {
		return err
	}
	events, err := a.Events(ctx, q)
	if err != nil {
		return err
	}
	var n int
	err = writeOut(cio, c.Out, c.Force, func(w io.Writer) error {
		n, err = export.Subtitles(w, c.Format, &export.Course{Result: f.Result, Series: f.Series}, events, c.Offset)
		return err
	})
	if err != nil {
		return err
	}
	fmt.Fprintf(cio.Err, "%d subtitles; the rocket leaves the pad at %.1f s of the video (--offset)\n", n, c.Offset.Seconds())
	return nil
}

// source is the archive, or the chosen columns of it with those of the flights.
func (c *exportCmd) source(ctx context.Context, a *sqlite.Archive, q storage.Query) (export.Source, error) {
	if len(c.Columns) == 0 {
		return a, nil
	}
	src := &export.Columns{Source: a, Names: c.Columns}
	if _, err := src.ChannelNames(ctx, q); err != nil {
		return nil, usageError{fmt.Errorf("--columns: %w", err)}
	}
	if !slices.ContainsFunc(c.Columns, func(n string) bool { return slices.Contains(export.CourseColumns(), n) }) {
		return src, nil
	}
	work := results.New(a)
	all, err := work.Flights(ctx, q.Session)
	if err != nil {
		return nil, err
	}
	for _, r := range all {
		if q.Rocket != "" && r.Rocket != q.Rocket || q.Flight != 0 && r.Flight != q.Flight {
			continue
		}
		f, err := work.Flight(ctx, r.Session, r.Rocket, r.Flight)
		if err != nil {
			return nil, err
		}
		src.Courses = append(src.Courses, export.Course{Result: f.Result, Series: f.Series})
	}
	return src, nil
}

// chosen is the session that is meant. A flight that is named, as in the other
// commands, also says which rocket and flight.
func (c *exportCmd) chosen(ctx context.Context, a *sqlite.Archive, cio *cmdIO) (string, error) {
	session, err := report.FindSession(ctx, a, c.Session)
	if err == nil || c.Session == "" || c.Rocket != "" {
		return session, err
	}
	ref, more, ferr := report.Find(ctx, a, c.Session)
	if ferr != nil {
		return "", err
	}
	tellOthers(ref, more, cio)
	c.Rocket, c.Flight = ref.Rocket, ref.Flight
	return ref.Session, nil
}

// nothing says why there is nothing to write.
func (c *exportCmd) nothing(session string, lost int) error {
	if lost > 0 {
		return fmt.Errorf("nothing of session %s could be read: its archive is damaged in %d places, named above; the raw frames may still be there: padlark export --format bundle", session, lost)
	}
	if export.OnlyPositions(c.Format) {
		return fmt.Errorf("no such sample of session %s has a position, and %s holds nothing else: --format csv has what was sent", session, c.Format)
	}
	return fmt.Errorf("nothing in session %s matches: padlark flights lists its flights", session)
}

func listFormats(to io.Writer) error {
	w := tabwriter.NewWriter(to, 0, 8, 2, ' ', 0)
	for _, name := range export.Names() {
		fmt.Fprintf(w, "%s\t%s\n", name, export.About(name))
	}
	fmt.Fprintln(w, "vtt, srt\tsubtitles of one flight, to lay over a video of it")
	fmt.Fprintf(w, "%s\ta whole session for another station: padlark import takes it in\n", bundleFormat)
	return w.Flush()
}
