package main

import (
	"context"
	"fmt"
	"io"
	"strings"

	"padlark/cmd/padlark/config"
	"padlark/storage/report"
	"padlark/storage/results"
	"padlark/storage/sqlite"
)

type reportCmd struct {
	archiveFlags
	Flight []string `arg:"" help:"Flight: Teal-1 (the newest of that name), Teal 1, or SESSION~Teal~1."`
	pageFlags
}

// Help shows an example.
func (reportCmd) Help() string {
	return "Example: padlark report Teal-1 --data padlark-demo -o teal-1.html\n\n" +
		"One page about one flight, to print or to show: results with ±, plots with events, what was expected, " +
		"alarms, link quality, configuration, how each number was computed, and what the data does not support.\n\n" +
		"Where fill, pressure and mass are noted (padlark note) and the configuration describes the bottle (diameter_m, bottle_l, " +
		"nozzle_m, rating_bar), the launch is flown in the model of padlark predict, and what it expected stands beside what happened. " +
		"With --config a bottle described since then counts too."
}

// reporter opens the archive and what makes pages from it.
func (f archiveFlags) reporter(ctx context.Context, io *cmdIO) (*report.Reporter, error) {
	a, err := f.open(ctx, io)
	if err != nil {
		return nil, err
	}
	r := &report.Reporter{Archive: a, Results: workedOut(a, io), MadeBy: "padlark " + softwareVersion()}
	if f.Config != "" {
		cfg, err := config.Load(f.Config)
		if err != nil {
			a.Close() //nolint:errcheck // only read from
			return nil, usageError{err}
		}
		r.Later = cfg.Rockets
	}
	return r, nil
}

// workedOut works flights out, keeps what they came to, and says how far it is if that
// takes long, as it does after an update.
func workedOut(a *sqlite.Archive, io *cmdIO) *results.Results {
	p := newProgress(io.Err, "working out", "flights", 0)
	p.live = false // nobody knows when the last is
	return results.New(a).Keeping().Telling(p.upTo)
}

// findFlight finds a flight by its name and says when there are several.
func findFlight(ctx context.Context, a *sqlite.Archive, text string, io *cmdIO) (report.Ref, error) {
	ref, more, err := report.Find(ctx, a, text)
	if err != nil {
		return ref, usageError{err}
	}
	tellOthers(ref, more, io)
	return ref, nil
}

// tellOthers says that older sessions have a flight of the same name.
func tellOthers(ref report.Ref, more int, io *cmdIO) {
	if more > 0 {
		fmt.Fprintf(io.Err, "%s is taken from the newest session, %s; %d older ones have one too\n", ref.Short(), ref.Session, more)
	}
}

// Run makes the page of a flight.
func (c *reportCmd) Run(ctx context.Context, cio *cmdIO) error {
	if err := c.check(); err != nil {
		return err
	}
	if len(c.Flight) > 2 {
		return usagef("one flight at a time: padlark compare takes several")
	}
	r, err := c.reporter(ctx, cio)
	if err != nil {
		return err
	}
	defer r.Archive.Close() //nolint:errcheck // only read from
	r.To = c.reader()
	ref, err := findFlight(ctx, r.Archive, strings.Join(c.Flight, "-"), cio)
	if err != nil {
		return err
	}
	p, err := r.Page(ctx, ref)
	if err != nil {
		return err
	}
	warnLost(r.Archive, cio)
	return c.write(&p, cio, func(w io.Writer) error { return printReport(w, &p) })
}

// printReport prints the page's numbers as text, in 80 columns.
func printReport(w io.Writer, p *report.Page) error {
	fmt.Fprintf(w, "%s (%s)\n", p.Title, p.Flight)
	wrap(w, "", p.Result.Said(p.To))
	fmt.Fprintln(w)
	for _, r := range p.Rows {
		fmt.Fprintf(w, "%-24s %s\n", r.Name, r.Text)
	}
	for _, e := range p.Expected {
		wrap(w, fmt.Sprintf("%-24s ", e.Name+" expected"), fmt.Sprintf("%s by %s: %s", e.ExpectedText(p.To), e.From, e.Words))
	}
	if p.Predicted != "" {
		wrap(w, fmt.Sprintf("%-24s ", "expected from"), p.Predicted)
	}
	for _, l := range p.Links {
		wrap(w, fmt.Sprintf("%-24s ", "link "+l.Name), fmt.Sprintf("%d frames, %d lost (%.1f %%), %d unreadable, longest pause in flight %.2f s", l.Frames, l.Lost, l.LostPercent(), l.Bad, l.PauseS))
	}
	for _, a := range p.Alarms {
		wrap(w, fmt.Sprintf("%-24s ", fmt.Sprintf("alarm at %+.1f s", a.T)), a.Reason)
	}
	for _, n := range p.Notes {
		wrap(w, fmt.Sprintf("%-24s ", "note"), n)
	}
	fmt.Fprintln(w)
	for _, n := range p.Caveats {
		wrap(w, "- ", n)
	}
	return nil
}
