package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"text/tabwriter"

	"padlark/flight/predict"
	"padlark/storage/report"
	"padlark/storage/results"
)

// sweepPoints is how many values of a range are flown.
const sweepPoints = 13

// sweepSpec is what --sweep asks for.
type sweepSpec struct {
	key, unit string
	values    []float64
	apply     func(*predict.Input, float64)
}

// readSweep reads water=200:1000 (mL) or pressure=2:5 (bar).
func readSweep(text string) (sweepSpec, error) {
	key, span, ok := strings.Cut(text, "=")
	from, to, two := strings.Cut(span, ":")
	lo, errLo := strconv.ParseFloat(from, 64)
	hi, errHi := strconv.ParseFloat(to, 64)
	s := sweepSpec{key: key}
	switch key {
	case "water":
		s.unit, s.apply = "mL", func(in *predict.Input, ml float64) { in.Launch.Fraction = ml * 1e-6 / in.Rocket.Volume }
	case "pressure":
		s.unit, s.apply = "bar", func(in *predict.Input, bar float64) { in.Launch.Gauge = bar * 1e5 }
	default:
		ok = false
	}
	if !ok || !two || errLo != nil || errHi != nil || !(lo > 0) || !(hi > lo) {
		return s, fmt.Errorf("--sweep %s: write water=200:1000, in mL, or pressure=2:5, in bar", text)
	}
	for i := range sweepPoints {
		s.values = append(s.values, lo+(hi-lo)*float64(i)/(sweepPoints-1))
	}
	return s, nil
}

// ownFlight is a flight whose set-up was noted, beside what the model says of it.
type ownFlight struct {
	Flight     string       `json:"flight"`
	Typed      report.Typed `json:"typed"`
	ApogeeM    float64      `json:"apogee_m"`
	ApogeeSDM  *float64     `json:"apogee_sd_m"`
	ModelM     float64      `json:"model_m"`
	ModelSDM   float64      `json:"model_sd_m"`
	OfTheModel float64      `json:"of_the_model"`
}

// sweep flies the range and holds one's own noted flights against the model.
func (c *predictCmd) sweep(ctx context.Context, cio *cmdIO) error {
	spec, err := readSweep(c.Sweep)
	if err != nil {
		return usageError{err}
	}
	if spec.key == "water" && c.WaterMl == nil { // what is swept need not be typed
		c.WaterMl = &spec.values[0]
	}
	if spec.key == "pressure" && c.PressureBar == nil {
		c.PressureBar = &spec.values[0]
	}
	in, name, err := c.input()
	if err != nil {
		return usageError{err}
	}
	if in.Rocket.Motor != nil {
		return usagef("--sweep is over the fill of a water rocket, and --thrust gives a motor")
	}
	s, err := predict.RunSweep(in, spec.values, spec.apply)
	if err != nil {
		return usageError{err}
	}
	own, err := c.own(ctx, cio, in, name)
	if err != nil {
		return err
	}
	if c.JSON {
		enc := json.NewEncoder(cio.Out)
		enc.SetIndent("", "  ")
		return enc.Encode(struct {
			Over string `json:"over"`
			Unit string `json:"unit"`
			*predict.Sweep
			Own []ownFlight `json:"own_flights"`
		}{spec.key, spec.unit, s, own})
	}
	return printSweep(cio.Out, &in, spec, s, own)
}

// own are the rocket's flights in the archive whose fill and pressure were noted.
func (c *predictCmd) own(ctx context.Context, cio *cmdIO, in predict.Input, name string) ([]ownFlight, error) {
	flags := archiveFlags{Data: c.Data, Config: c.Config}
	if c.Data != "" {
		flags.Config = ""
	}
	out := []ownFlight{}
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
	all, err := results.New(a).Keeping().Flights(ctx, "")
	if err != nil {
		return nil, err
	}
	for _, r := range all {
		if r.Rocket != name || r.ApogeeM == nil {
			continue
		}
		notes, err := a.Notes(ctx, r.Session)
		if err != nil {
			return nil, err
		}
		var texts []string
		for _, n := range notes {
			if n.Rocket == r.Rocket && n.Flight == r.Flight {
				texts = append(texts, n.Text)
			}
		}
		f := ownFlight{Flight: fmt.Sprintf("%s~%s~%d", r.Session, r.Rocket, r.Flight), Typed: report.ReadTyped(texts), ApogeeM: *r.ApogeeM, ApogeeSDM: r.ApogeeSD}
		if f.Typed.FillMl == nil || f.Typed.PressureBar == nil {
			continue
		}
		at := in
		at.Launch.Fraction, at.Launch.Gauge = *f.Typed.FillMl*1e-6/in.Rocket.Volume, *f.Typed.PressureBar*1e5
		if f.Typed.MassG != nil {
			at.Rocket.Dry = *f.Typed.MassG * 1e-3
		}
		if f.Typed.NozzleMm != nil {
			at.Rocket.Nozzle = *f.Typed.NozzleMm * 1e-3
		}
		if f.Typed.WindMps != nil {
			at.Launch.Wind = *f.Typed.WindMps
		}
		res, err := predict.Run(at)
		if err != nil || res.ApogeeM == nil || !(res.ApogeeM.Mean > 0) {
			continue // beyond the rating, say: nothing is predicted there
		}
		f.ModelM, f.ModelSDM, f.OfTheModel = res.ApogeeM.Mean, res.ApogeeM.SD, *r.ApogeeM/res.ApogeeM.Mean
		out = append(out, f)
	}
	return out, nil
}

// printSweep prints the range, the best of it and how sure that is.
func printSweep(w io.Writer, in *predict.Input, spec sweepSpec, s *predict.Sweep, own []ownFlight) error {
	digits := 0
	if spec.unit == "bar" {
		digits = 2
	}
	fixed := fmt.Sprintf("%.2f bar", in.Launch.Gauge/1e5)
	if spec.key == "pressure" {
		fixed = fmt.Sprintf("%.0f mL of water", in.Launch.Fraction*in.Rocket.Volume*1e6)
	}
	wrap(w, "", fmt.Sprintf("Apogee over the %s at %s, %d flights at each, the same draws at all", spec.key, fixed, in.Flights))
	t := tabwriter.NewWriter(w, 0, 8, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintf(t, "%s\tapogee\t±\tlower than best\t±\tsure\t\t\n%s\tm\tm\tm\tm\t%%\t\t\n", spec.key, spec.unit)
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
	if spec.key == "pressure" {
		wrap(w, "", "padlark recommends no pressure: more of it is nearly always higher, and a bottle that bursts throws splinters. Stay well below the rating and behind a barrier.")
	} else {
		text := fmt.Sprintf("By the model %.*f %s is the highest, %.1f m. ", digits, best.Value, spec.unit, best.ApogeeM.Mean)
		if s.From == s.To {
			text += "In 95 of 100 draws or more it is higher than each of the others."
		} else {
			text += fmt.Sprintf("From %.*f to %.*f %s it is open which is higher: the others are lower in 95 of 100 draws or more.", digits, s.From, digits, s.To, spec.unit)
		}
		wrap(w, "", text+" How straight the rocket leaves the rail is not in this: look at it as well.")
	}
	printOwn(w, own)
	return nil
}

// printOwn prints what one's own flights say of the model.
func printOwn(w io.Writer, own []ownFlight) {
	fmt.Fprintln(w)
	if len(own) == 0 {
		wrap(w, "", "None of your own flights counts here: note fill and pressure of each (padlark note Teal-1 \"650 mL water, 4 bar\"), and name rocket and archive (--rocket, --data).")
		return
	}
	var sum, squares float64
	top := 0
	for i, f := range own {
		wrap(w, "  ", fmt.Sprintf("%s: %s flew %s m; the model says %.1f ± %.1f m", f.Flight, f.Typed.Words(), spread(&f.ApogeeM, f.ApogeeSDM), f.ModelM, f.ModelSDM))
		sum, squares = sum+f.OfTheModel, squares+f.OfTheModel*f.OfTheModel
		if f.ApogeeM > own[top].ApogeeM {
			top = i
		}
	}
	n := float64(len(own))
	mean := sum / n
	text := fmt.Sprintf("%s of yours with a noted fill: %.0f %% of the model's heights", counted1(len(own), "flight"), 100*mean)
	if len(own) > 1 {
		sd := math.Sqrt(max(squares-n*mean*mean, 0) / (n - 1))
		text += fmt.Sprintf(", ± %.0f %% from flight to flight (%.0f %% on their mean)", 100*sd, 100*sd/math.Sqrt(n))
	}
	wrap(w, "", text+fmt.Sprintf(". The highest of them was %s, with %s. A difference between two fills that is smaller than the one from flight to flight needs several flights of each to be seen: padlark compare.",
		own[top].Flight, own[top].Typed.Words()))
}
