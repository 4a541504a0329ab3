package main

import (
	"bufio"
	"fmt"
	"io"
	"math"

	"padlark/flight/predict"
)

// printPrediction writes the prediction in words, at most 80 columns wide.
func printPrediction(w io.Writer, name string, in *predict.Input, res *predict.Result) error {
	b := bufio.NewWriter(w)
	printLaunch(b, name, in, res)
	printNumbers(b, res)
	printTimer(b, res)
	printField(b, res)
	for _, list := range []struct {
		title string
		items []string
	}{{"Warnings", res.Warnings}, {"Cautions", res.Cautions}} {
		if len(list.items) == 0 {
			continue
		}
		fmt.Fprintf(b, "\n%s\n", list.title)
		for _, s := range list.items {
			wrap(b, "  - ", s)
		}
	}
	fmt.Fprintln(b)
	wrap(b, "Verdict: ", res.Verdict)
	return b.Flush()
}

func printLaunch(b io.Writer, name string, in *predict.Input, res *predict.Result) {
	if name == "" {
		name = "this rocket"
	}
	fmt.Fprintf(b, "Prediction for %s\n", name)
	l := in.Launch
	if m := in.Rocket.Motor; m != nil {
		wrap(b, "  ", fmt.Sprintf("motor of %.1f g with %.1f g of propellant, rocket %.0f g, wind %.1f m/s",
			m.Total*1e3, m.Propellant*1e3, in.Rocket.Dry*1e3, l.Wind))
	} else {
		wrap(b, "  ", fmt.Sprintf("%.0f mL bottle, %.0f mL of water, %.2f bar (rated %.2f bar), rocket %.0f g, wind %.1f m/s",
			in.Rocket.Volume*1e6, l.Fraction*in.Rocket.Volume*1e6, l.Gauge/1e5, in.Rating/1e5, in.Rocket.Dry*1e3, l.Wind))
	}
	wrap(b, "  ", fmt.Sprintf("%d flights with inputs drawn from their spread, seed %d; ± is one standard deviation. "+
		"Models of this kind are 6 to 10 %% off measured flights on top of that.", res.Flights, res.Seed))
}

func printNumbers(b io.Writer, res *predict.Result) {
	fmt.Fprintf(b, "\n%-35s%9s%9s  %s\n", "", "mean", "±", "90 of 100 flights")
	for _, r := range []struct {
		label, unit string
		q           *predict.Quantity
	}{
		{"apogee above the pad", "m", res.ApogeeM},
		{"time to apogee", "s", res.TimeToApogeeS},
		{"greatest speed upward", "m/s", res.MaxSpeedMps},
		{"greatest acceleration", "m/s2", res.MaxAccelMps2},
		{"speed at the end of the rail", "m/s", res.RailExitMps},
		{"water out", "s", res.WaterOutS},
		{"burnout (thrust ends)", "s", res.BurnoutS},
		{"release", "s", res.ReleaseS},
		{"sink rate with the parachute", "m/s", res.DescentMps},
		{"from apogee to the ground", "s", res.DescentS},
		{"whole flight", "s", res.DurationS},
		{"lands this far from the pad", "m", res.DriftM},
		{"without parachute: speed at ground", "m/s", res.BallisticMps},
		{"without parachute: energy at ground", "J", res.BallisticEnergyJ},
		{"without parachute: lands this far", "m", res.BallisticDriftM},
	} {
		if r.q == nil {
			continue
		}
		p := places(r.q.SD)
		fmt.Fprintf(b, "%-35s%9.*f%9.*f  %.*f to %.*f %s\n", r.label, p, r.q.Mean, p, r.q.SD, p, r.q.Low, p, r.q.High, r.unit)
	}
}

// places is how many decimals show a standard deviation with two digits.
func places(sd float64) int {
	if !(sd > 0) {
		return 2
	}
	return max(0, min(4, 1-int(math.Floor(math.Log10(sd)))))
}

func printTimer(b io.Writer, res *predict.Result) {
	t := res.Timer
	fmt.Fprintf(b, "\nBackup timer\n")
	wrap(b, "  ", fmt.Sprintf("Expect apogee %.2f s ± %.2f s after liftoff; the latest of these flights had it at %.2f s. "+
		"Without parachute the first of them is down after %.2f s. How much margin goes on top is your decision: "+
		"too short opens the parachute while the rocket is fast, too long opens it too low.",
		t.ExpectedS, t.SpreadS, t.LatestS, t.GroundS))
}

func printField(b io.Writer, res *predict.Result) {
	f := res.Field
	fmt.Fprintf(b, "\nField and parachute\n")
	text := fmt.Sprintf("99 of 100 flights come down within %.0f m of the pad, with the parachute or without.", f.NeedM)
	switch {
	case f.BigEnough == nil:
	case *f.BigEnough:
		text += fmt.Sprintf(" The field of %.0f m is big enough for them.", *f.RadiusM)
	default:
		text += fmt.Sprintf(" The field of %.0f m is TOO SMALL.", *f.RadiusM)
	}
	wrap(b, "  ", text)
	wrap(b, "  ", fmt.Sprintf("A rocket that strays (worst tilt, no parachute) reaches %.0f m. "+
		"Turning into the wind is not in the model.", f.StrayM))
	wrap(b, "  ", fmt.Sprintf("For a sink rate of 5 m/s the parachute needs a diameter of %.2f m.", res.Canopy.ForFiveM))
}
