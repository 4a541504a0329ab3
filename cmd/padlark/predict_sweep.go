package main

import (
	"context"
	"fmt"
	"io"
	"math"
	"strings"
	"text/tabwriter"

	"padlark/flight/predict"
	"padlark/storage/report"
)

// sweep flies the range and holds one's own noted flights against the model.
func (c *predictCmd) sweep(ctx context.Context, cio *cmdIO) error {
	spec, err := predict.ReadOver(c.Sweep)
	if err != nil {
		return usagef("--sweep %w", err)
	}
	if spec.Key == "water" && c.WaterMl == nil { // what is swept need not be typed
		c.WaterMl = &spec.Values[0]
	}
	if spec.Key == "pressure" && c.PressureBar == nil {
		c.PressureBar = &spec.Values[0]
	}
	in, name, err := c.input()
	if err != nil {
		return usageError{err}
	}
	if in.Rocket.Motor != nil {
		return usagef("--sweep is over the fill of a water rocket, and --thrust gives a motor")
	}
	s, err := predict.RunSweep(in, spec)
	if err != nil {
		return usageError{err}
	}
	own, err := c.own(ctx, cio, in, name)
	if err != nil {
		return err
	}
	if c.JSON {
		return printJSON(cio.Out, "  ", struct {
			Over string `json:"over"`
			Unit string `json:"unit"`
			*predict.Sweep
			Own []report.OwnFlight `json:"own_flights"`
		}{spec.Key, spec.Unit, s, own})
	}
	return printSweep(cio.Out, &in, spec, s, own)
}

// own are the rocket's flights in the archive whose fill and pressure were noted.
func (c *predictCmd) own(ctx context.Context, cio *cmdIO, in predict.Input, name string) ([]report.OwnFlight, error) {
	flags := archiveFlags{Data: c.Data, Config: c.Config}
	if c.Data != "" {
		flags.Config = ""
	}
	out := []report.OwnFlight{}
	if _, err := flags.folder(); err != nil && c.Data == "" || name == "" {
		return out, nil // there is no archive to look into
	}
	a, err := flags.open(ctx, cio)
	if err != nil {
		if c.Data == "" {
			return out, nil
		}
		return nil, err
	}
	defer a.Close() //nolint:errcheck // only read from
	return report.OwnFlights(ctx, a, in, name)
}

// printSweep prints the range, the best of it and how sure that is.
func printSweep(w io.Writer, in *predict.Input, spec predict.Over, s *predict.Sweep, own []report.OwnFlight) error {
	digits := 0
	if spec.Unit == "bar" {
		digits = 2
	}
	fixed := fmt.Sprintf("%.2f bar", in.Launch.Gauge/1e5)
	if spec.Key == "pressure" {
		fixed = fmt.Sprintf("%.0f mL of water", in.Launch.Fraction*in.Rocket.Volume*1e6)
	}
	wrap(w, "", fmt.Sprintf("Apogee over the %s at %s, %d flights at each, the same draws at all", spec.Key, fixed, in.Flights))
	t := tabwriter.NewWriter(w, 0, 8, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintf(t, "%s\tapogee\t±\tlower than best\t±\tsure\t\t\n%s\tm\tm\tm\tm\t%%\t\t\n", spec.Key, spec.Unit)
	best := s.Points[s.Best]
	for k, p := range s.Points {
		if p.ApogeeM.Mean == 0 {
			fmt.Fprintf(t, "%.*f\tdoes not fly\t\t\t\t\t\t\n", digits, p.Value)
			continue
		}
		bar := strings.Repeat("▒", int(math.Round(16*p.ApogeeM.Mean/best.ApogeeM.Mean)))
		less, sd, sure := fmt.Sprintf("%.1f", p.LessM), fmt.Sprintf("%.1f", p.LessSDM), fmt.Sprintf("%.0f", 100*p.Certain)
		if k == s.Best {
			less, sd, sure = "best", "", ""
		}
		fmt.Fprintf(t, "%.*f\t%.1f\t%.1f\t%s\t%s\t%s\t%s\t\n", digits, p.Value, p.ApogeeM.Mean, p.ApogeeM.SD, less, sd, sure, bar+strings.Repeat(" ", 16-len([]rune(bar))))
	}
	if err := t.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(w)
	if spec.Key == "pressure" {
		wrap(w, "", "padlark recommends no pressure: more of it is nearly always higher, and a bottle that bursts throws splinters. Stay well below the rating and behind a barrier.")
	} else {
		text := fmt.Sprintf("By the model %.*f %s is the highest, %.1f m. ", digits, best.Value, spec.Unit, best.ApogeeM.Mean)
		if s.From == s.To {
			text += "In 95 of 100 draws or more it is higher than each of the others."
		} else {
			text += fmt.Sprintf("From %.*f to %.*f %s it is open which is higher: the others are lower in 95 of 100 draws or more.", digits, s.From, digits, s.To, spec.Unit)
		}
		wrap(w, "", text+" How straight the rocket leaves the rail is not in this: look at it as well.")
	}
	printOwn(w, own)
	return nil
}

// printOwn prints what one's own flights say of the model.
func printOwn(w io.Writer, own []report.OwnFlight) {
	fmt.Fprintln(w)
	if len(own) == 0 {
		wrap(w, "", "None of your own flights counts here: note fill and pressure of each (padlark note Teal-1 \"650 mL water, 4 bar\"), and name rocket and archive (--rocket, --data).")
		return
	}
	for _, f := range own {
		wrap(w, "  ", fmt.Sprintf("%s: %s flew %s m; the model says %.1f ± %.1f m", f.Flight, f.Typed.Words(), spread(&f.ApogeeM, f.ApogeeSDM), f.ModelM, f.ModelSDM))
	}
	mean, sd, highest := report.OfTheModel(own)
	text := fmt.Sprintf("%s of yours with a noted fill: %.0f %% of the model's heights", counted1(len(own), "flight"), 100*mean)
	if len(own) > 1 {
		text += fmt.Sprintf(", ± %.0f %% from flight to flight (%.0f %% on their mean)", 100*sd, 100*sd/math.Sqrt(float64(len(own))))
	}
	wrap(w, "", text+fmt.Sprintf(". The highest of them was %s, with %s. A difference between two fills that is smaller than the one from flight to flight needs several flights of each to be seen: padlark compare.",
		highest.Flight, highest.Typed.Words()))
}
