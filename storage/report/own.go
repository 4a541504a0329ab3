package report

import (
	"context"

	"gonum.org/v1/gonum/stat"

	"padlark/flight/predict"
	"padlark/storage/results"
	"padlark/storage/sqlite"
)

// OwnFlight is a flight whose set-up was noted, beside what the model says of it.
type OwnFlight struct {
	Flight     string   `json:"flight"`
	Typed      Typed    `json:"typed"`
	ApogeeM    float64  `json:"apogee_m"`
	ApogeeSDM  *float64 `json:"apogee_sd_m"`
	ModelM     float64  `json:"model_m"`
	ModelSDM   float64  `json:"model_sd_m"`
	OfTheModel float64  `json:"of_the_model"`
}

// OwnFlights are the flights of a rocket in the archive whose fill and pressure
// were noted, and what the model says of each, with all else as in in.
func OwnFlights(ctx context.Context, a *sqlite.Archive, in predict.Input, rocket string) ([]OwnFlight, error) {
	all, err := results.New(a).Keeping().Flights(ctx, "")
	if err != nil {
		return nil, err
	}
	out := []OwnFlight{}
	for _, r := range all {
		if r.Rocket != rocket || r.ApogeeM == nil {
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
		ref := Ref{r.Session, r.Rocket, r.Flight}
		f := OwnFlight{Flight: ref.String(), Typed: ReadTyped(texts), ApogeeM: *r.ApogeeM, ApogeeSDM: r.ApogeeSD}
		if f.Typed.FillMl == nil || f.Typed.PressureBar == nil {
			continue
		}
		at := in
		f.Typed.launch(&at)
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

// OfTheModel is the mean of what the flights reached of the model's heights, its
// standard deviation from flight to flight (NaN for one flight), and the flight that went
// highest. There must be one.
func OfTheModel(own []OwnFlight) (mean, sd float64, highest *OwnFlight) {
	parts := make([]float64, len(own))
	highest = &own[0]
	for i := range own {
		parts[i] = own[i].OfTheModel
		if own[i].ApogeeM > highest.ApogeeM {
			highest = &own[i]
		}
	}
	mean, sd = stat.MeanStdDev(parts, nil)
	return mean, sd, highest
}

// launch puts the noted fill, pressure and mass into an input, whose bottle is
// known.
func (t Typed) launch(in *predict.Input) {
	in.Launch.Fraction, in.Launch.Gauge = *t.FillMl*1e-6/in.Rocket.Volume, *t.PressureBar*1e5
	if t.MassG != nil {
		in.Rocket.Dry = *t.MassG / 1000
	}
}
