package main

import (
	"context"
	"fmt"
	"io"
	"text/tabwriter"

	"padlark/storage/report"
)

// runSeason prints what each rocket has done so far.
func (c *flightsCmd) runSeason(ctx context.Context, io *cmdIO) error {
	if c.Session != "" {
		return usagef("--season is over all sessions: leave %q out", c.Session)
	}
	r, err := c.reporter(ctx, io)
	if err != nil {
		return err
	}
	defer r.Archive.Close() //nolint:errcheck // only read from
	all, err := r.Seasons(ctx)
	if err != nil {
		return err
	}
	warnLost(r.Archive, io)
	list := []report.Season{}
	for _, s := range all {
		if c.Rocket == "" || s.Rocket == c.Rocket {
			list = append(list, s)
		}
	}
	if c.JSON {
		return printJSON(io.Out, "  ", list)
	}
	return printSeason(io.Out, list)
}

// printSeason prints one line for each rocket, in 80 columns.
func printSeason(w io.Writer, list []report.Season) error {
	if len(list) == 0 {
		fmt.Fprintln(w, "No flights and no checkups.")
		return nil
	}
	t := tabwriter.NewWriter(w, 0, 8, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "rocket\tno\tbest\tmean\tspread\tin time\t95 %\tcell\ttrend\tchecked\t")
	fmt.Fprintln(t, "\t\tm\tm\tm\tof all\t%\tV\tmV\t\t")
	for _, s := range list {
		cell, trend, checked, rate := "–", "–", "never", "–"
		if n := len(s.CellV); n > 0 {
			cell = fmt.Sprintf("%.2f", s.CellV[n-1])
		}
		if s.CellTrend != nil {
			trend = fmt.Sprintf("%+.0f±%.0f", 1e3**s.CellTrend, 1e3**s.CellTrendSD)
		}
		if s.Checkup != nil {
			checked = s.Checkup.At.Local().Format("2 Jan 06")
		}
		if s.Releases > 0 {
			rate = fmt.Sprintf("%.0f–%.0f", 100*s.RateLow, 100*s.RateHigh)
		}
		fmt.Fprintf(t, "%s\t%d\t%s\t%s\t%s\t%d/%d\t%s\t%s\t%s\t%s\t\n", clip(s.Rocket, 9), s.Flights, number(s.BestM, "%.1f"), number(s.Apogee.Mean, "%.1f"),
			number(s.Apogee.SD, "%.1f"), s.InTime, s.Releases, rate, cell, trend, checked)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(w)
	wrap(w, "", "In time, of all: released within the rocket's delay after apogee, not more than 0.3 s before it; 95 % is the Wilson interval of that rate. "+
		"Cell: at rest before the last flight; trend: its change from flight to flight (± one standard deviation).")
	for _, s := range list {
		if s.Checkup != nil {
			wrap(w, s.Rocket+" checked: ", s.Checkup.Verdict)
		}
	}
	return nil
}
