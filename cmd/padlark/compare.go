package main

import (
	"context"
	"fmt"
	"io"
	"text/tabwriter"

	"padlark/flight"
	"padlark/storage/report"
)

type compareCmd struct {
	archiveFlags
	Flights []string `arg:"" optional:"" help:"Flights: Teal-1 (the newest of that name) or SESSION~Teal~1."`
	Against []string `help:"A second group of flights to hold against the first." placeholder:"FLIGHT,..."`
	Rocket  string   `help:"All flights of this rocket, instead of naming them; that which flew last, if nothing is named." placeholder:"NAME"`
	pageFlags
}

// Help shows an example.
func (compareCmd) Help() string {
	return "Example: padlark compare Teal-1 Teal-2 --against Teal-3,Teal-4 -o pressure.html\n\n" +
		"Lays flights over each other, aligned at liftoff, and says whether they differ by more than the noise: " +
		"chi-squared within a group, Welch's t-test between two. Fill, pressure and mass come from notes (padlark note)."
}

// Run compares flights.
func (c *compareCmd) Run(ctx context.Context, cio *cmdIO) error {
	if err := c.check(); err != nil {
		return err
	}
	r, err := c.reporter(ctx, cio)
	if err != nil {
		return err
	}
	defer r.Archive.Close() //nolint:errcheck // only read from
	r.To = c.reader()
	first, second, err := c.groups(ctx, r, cio)
	if err != nil {
		return err
	}
	cmp, err := r.Compare(ctx, first, second)
	if err != nil {
		return err
	}
	warnLost(r.Archive, cio)
	return c.write(&cmp, cio, func(w io.Writer) error { return printComparison(w, &cmp) })
}

// groups finds the flights that are meant.
func (c *compareCmd) groups(ctx context.Context, r *report.Reporter, io *cmdIO) (first, second []report.Ref, err error) {
	if c.Rocket != "" && len(c.Flights) > 0 {
		return nil, nil, usagef("name flights, or give --rocket for all of one rocket: not both")
	}
	if len(c.Flights) == 0 {
		all, err := report.List(ctx, r.Archive)
		if err != nil {
			return nil, nil, err
		}
		if c.Rocket == "" && len(c.Against) == 0 && len(all) > 0 {
			c.Rocket = all[len(all)-1].Rocket
			fmt.Fprintf(io.Err, "padlark: comparing all flights of %s, which flew last; name others, or give --rocket\n", c.Rocket)
		}
		for _, l := range all {
			if l.Rocket == c.Rocket {
				first = append(first, l.Ref)
			}
		}
	}
	seen := map[report.Ref]bool{}
	for i, name := range append(append([]string{}, c.Flights...), c.Against...) {
		ref, err := findFlight(ctx, r.Archive, name, io)
		if err != nil {
			return nil, nil, err
		}
		if seen[ref] {
			return nil, nil, usagef("%s is named twice", ref)
		}
		seen[ref] = true
		if i < len(c.Flights) {
			first = append(first, ref)
		} else {
			second = append(second, ref)
		}
	}
	if len(first)+len(second) < 2 {
		return nil, nil, usagef("%d flights to compare: two are needed", len(first)+len(second))
	}
	return first, second, nil
}

// printComparison prints table, spreads and differences, in 80 columns.
func printComparison(w io.Writer, c *report.Comparison) error {
	t := tabwriter.NewWriter(w, 0, 8, 1, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "flight\tfill\tpressure\tmass\tnozzle\twind\tapogee\t\tafter\treleased\tsink\t")
	height, per := c.To.Unit("m")
	fmt.Fprintf(t, "\tmL\tbar\tg\tmm\t%[1]s/s\t%[1]s\t± %[1]s\ts\ts after\t%[1]s/s\t\n", height)
	for i := range c.Flights {
		f := &c.Flights[i]
		name := f.Short
		if len(c.Contrasts) > 0 {
			name = fmt.Sprintf("%d: %s", f.Group, f.Short)
		}
		printCompared(t, name, f.Typed, &f.Result, per)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	for i, g := range c.Groups {
		title := "Spread between the flights"
		if len(c.Contrasts) > 0 {
			title = fmt.Sprintf("Group %d: spread between its flights", i+1)
		}
		fmt.Fprintf(w, "\n%s\n", title)
		for _, q := range g.Quantities {
			wrap(w, fmt.Sprintf("  %-15s %-20s ", q.Name, q.Text(c.To, q.Unit)), q.Words)
		}
	}
	if len(c.Contrasts) > 0 {
		fmt.Fprintln(w, "\nGroup 2 less group 1")
		for _, q := range c.Contrasts {
			wrap(w, fmt.Sprintf("  %-15s %-20s ", q.Name, q.Text(c.To, q.Unit)), q.Words)
		}
	}
	fmt.Fprintln(w)
	wrap(w, "", c.Tests)
	return nil
}

// printCompared prints a row; per is how many m the unit of lengths has.
func printCompared(t io.Writer, name string, n report.Typed, r *flight.Result, per float64) {
	shown := func(si *float64) string { return number(over(si, per), "%.1f") }
	fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t\n", name, number(n.FillMl, "%.0f"), number(n.PressureBar, "%.2f"), number(n.MassG, "%.0f"),
		number(n.NozzleMm, "%.1f"), shown(n.WindMps),
		shown(r.ApogeeM), shown(r.ApogeeSD), number(r.TimeToApogeeS, "%.2f"), number(r.ReleaseLagS, "%+.2f"), shown(r.DescentMps))
}
