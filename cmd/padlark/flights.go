package main

import (
	"context"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"text/tabwriter"
	"time"
	"unicode/utf8"

	"padlark/flight"
	"padlark/flight/phrase"
	"padlark/flight/smooth"
	"padlark/storage/report"
	"padlark/storage/sqlite"
)

type flightsCmd struct {
	archiveFlags
	unitFlags
	Session string `arg:"" optional:"" help:"Session, or how its name begins; the newest if not given."`
	All     bool   `help:"The flights of every session."`
	Rocket  string `help:"Only this rocket."`
	Season  bool   `help:"Each rocket over all sessions: flights, best, mean, releases, cell, last checkup."`
	JSON    bool   `name:"json" help:"Print as JSON: every quantity, with its standard deviation."`
}

// Help shows an example.
func (flightsCmd) Help() string { return "Example: padlark flights --data padlark-demo --json" }

// Run works the flights out and prints them.
func (c *flightsCmd) Run(ctx context.Context, io *cmdIO) error {
	if c.Season {
		return c.runSeason(ctx, io)
	}
	a, err := c.open(ctx, io)
	if err != nil {
		return err
	}
	defer a.Close() //nolint:errcheck // only read from
	session := ""
	if !c.All {
		if session, err = report.FindSession(ctx, a, c.Session); err != nil {
			return err
		}
	}
	work := workedOut(a, io)
	all, err := work.Flights(ctx, session)
	if err != nil {
		return err
	}
	warnLost(a, io)
	if err := c.known(ctx, a, session, all); err != nil {
		return err
	}
	list := []flight.Result{}
	for _, r := range all {
		if c.Rocket == "" || r.Rocket == c.Rocket {
			list = append(list, r)
		}
	}
	if c.JSON {
		return printJSON(io.Out, "  ", list)
	}
	curve := func(r flight.Result) string {
		f, err := work.Flight(ctx, r.Session, r.Rocket, r.Flight)
		if err != nil {
			return "" // its numbers are there all the same
		}
		return curveOf(&f.Series, r)
	}
	if c.All {
		return printEverySession(io.Out, c.reader(), list, curve)
	}
	return printFlights(io.Out, c.reader(), list, curve)
}

// printEverySession prints the flights of each session under its date, and what all
// of them come to.
func printEverySession(w io.Writer, to phrase.Reader, list []flight.Result, curve func(flight.Result) string) error {
	days, rockets := map[string]bool{}, map[string]bool{}
	var best *flight.Result
	for from := 0; from < len(list); {
		end := from + 1
		for end < len(list) && list[end].Session == list[from].Session {
			end++
		}
		day := "an unknown day"
		for i := from; i < end; i++ {
			r := &list[i]
			rockets[r.Rocket] = true
			if r.LaunchedAt != nil {
				day = r.LaunchedAt.Local().Format("Mon 2 Jan 2006")
				days[day] = true
			}
			if r.ApogeeM != nil && (best == nil || *r.ApogeeM > *best.ApogeeM) {
				best = r
			}
		}
		fmt.Fprintf(w, "%s, session %s\n", day, list[from].Session)
		if err := printFlights(w, to, list[from:end], curve); err != nil {
			return err
		}
		fmt.Fprintln(w)
		from = end
	}
	if len(list) == 0 {
		return printFlights(w, to, list, curve)
	}
	text := fmt.Sprintf("In all %s of %s on %s", counted1(len(list), "flight"), counted1(len(rockets), "rocket"), counted1(len(days), "day"))
	if best != nil {
		text += fmt.Sprintf("; the highest %s, %s-%d", inUnits(to, best.ApogeeM, "%.1f", "m"), best.Rocket, best.Flight)
	}
	wrap(w, "", text+". padlark flights --season has more of each rocket.")
	return nil
}

// counted1 is a number with its word.
func counted1(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return fmt.Sprintf("%d %ss", n, word)
}

// curveWidth is how many characters a small curve has.
const curveWidth = 32

// curveOf draws the height from liftoff to landing in block characters; "" where
// there is not enough of it.
func curveOf(s *smooth.Series, r flight.Result) string {
	if r.LaunchedAt == nil || len(s.T) < 8 {
		return ""
	}
	// Result times are of the session's clock, corrected; the series has the same.
	from, to := r.LaunchedAt.Sub(s.Start).Seconds(), s.T[len(s.T)-1]
	if r.TouchdownAt != nil {
		to = r.TouchdownAt.Sub(s.Start).Seconds()
	}
	if !(to > from) {
		return ""
	}
	bins := make([]float64, curveWidth)
	top := 0.0
	for i, t := range s.T {
		k := int((t - from) / (to - from) * curveWidth)
		if k < 0 || k >= curveWidth || math.IsNaN(s.Height[i]) {
			continue
		}
		bins[k] = max(bins[k], s.Height[i])
		top = max(top, bins[k])
	}
	if top <= 0 {
		return ""
	}
	blocks := []rune("▁▂▃▄▅▆▇█")
	out := make([]rune, curveWidth)
	for k, h := range bins {
		out[k] = blocks[min(int(h/top*float64(len(blocks))), len(blocks)-1)]
	}
	return string(out)
}

// known refuses a rocket that was never there, and names those that were.
func (c *flightsCmd) known(ctx context.Context, a *sqlite.Archive, session string, all []flight.Result) error {
	if c.Rocket == "" {
		return nil
	}
	sessions, err := a.Sessions(ctx)
	if err != nil {
		return err
	}
	var names []string
	for _, s := range sessions {
		if session != "" && s.ID != session {
			continue
		}
		for _, r := range s.Rockets {
			names = append(names, r.Name)
		}
	}
	for _, r := range all { // of boards that nobody configured, too
		names = append(names, r.Rocket)
	}
	slices.Sort(names)
	if names = slices.Compact(names); slices.Contains(names, c.Rocket) {
		return nil
	}
	return usagef("there is no rocket %q here: %s", c.Rocket, strings.Join(names, ", "))
}

// printFlights prints one line per flight, in 80 columns, and the verdicts.
func printFlights(w io.Writer, to phrase.Reader, list []flight.Result, curve func(flight.Result) string) error {
	if len(list) == 0 {
		fmt.Fprintln(w, "No flights.")
		return nil
	}
	t := tabwriter.NewWriter(w, 0, 8, 1, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "rocket\tno\tliftoff\tapogee\tafter\tfastest\treleased\tsink\t")
	unit, per := to.Unit("m")
	fmt.Fprintf(t, "\t\tlocal\t%[1]s\ts\t%[1]s/s\ts after\t%[1]s/s\t\n", unit)
	length := func(v, sd *float64) string { return spread(over(v, per), over(sd, per)) }
	for _, r := range list {
		fmt.Fprintf(t, "%s\t%d\t%s\t%s\t%s\t%s\t%s\t%s\t\n", r.Rocket, r.Flight, clockTime(r.LaunchedAt),
			length(r.ApogeeM, r.ApogeeSD), spread(r.TimeToApogeeS, r.TimeToApogeeSD), length(r.MaxSpeedMps, r.MaxSpeedSD),
			spread(r.ReleaseLagS, r.ReleaseLagSD), length(r.DescentMps, r.DescentSD))
	}
	if err := t.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(w, "\n± is one standard deviation. Heights are above the pad.")
	for _, r := range list {
		label := fmt.Sprintf("%s %d: ", r.Rocket, r.Flight)
		wrap(w, label, r.Said(to))
		if drawn := curve(r); drawn != "" {
			fmt.Fprintf(w, "%s%s\n", strings.Repeat(" ", utf8.RuneCountInString(label)), drawn)
		}
		if r.Landing != nil {
			wrap(w, strings.Repeat(" ", utf8.RuneCountInString(label)), landingWords(to, r.Landing, r.TouchdownAt != nil))
		}
	}
	return nil
}

// landingWords say where a rocket came down.
func landingWords(to phrase.Reader, l *flight.Landing, seen bool) string {
	far := func(m float64) string { return inUnits(to, &m, "%.0f", "m") }
	where := "landed"
	if !seen {
		where = "should lie"
	}
	where += fmt.Sprintf(" %s from the pad at %.0f° (%s)", far(l.RangeM), l.BearingDeg, compass(l.BearingDeg))
	if l.LatitudeDeg != nil {
		where += fmt.Sprintf(", %.5f° %.5f°", *l.LatitudeDeg, *l.LongitudeDeg)
	}
	by := "by GPS"
	if l.Source == flight.FromWind {
		by = "by the site's wind alone"
	}
	return fmt.Sprintf("%s, %s: 95 of 100 within %s by %s of there", where, by, far(l.AlongM), far(l.AcrossM))
}

// compass is a bearing as one of the eight points.
func compass(bearingDeg float64) string {
	points := [...]string{"north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"}
	return points[int(math.Round(bearingDeg/45))%len(points)]
}

func clockTime(t *time.Time) string {
	if t == nil {
		return "–"
	}
	return t.Local().Format("15:04:05")
}

// over is a value by how much of it a unit has.
func over(v *float64, per float64) *float64 {
	if v == nil {
		return nil
	}
	return new(*v / per)
}

// spread is a value with its standard deviation, as many digits as that supports, and
// two decimals at the most.
func spread(v, sd *float64) string {
	switch {
	case v == nil:
		return "–"
	case sd == nil:
		return fmt.Sprintf("%.1f", *v)
	case *sd < 0.1:
		return fmt.Sprintf("%.2f±%.2f", *v, *sd)
	}
	return fmt.Sprintf("%.1f±%.1f", *v, *sd)
}

func number(v *float64, format string) string {
	if v == nil {
		return "–"
	}
	return fmt.Sprintf(format, *v)
}
