package report

import (
	"errors"
	"fmt"
	"strings"

	"padlark/flight"
	"padlark/flight/phrase"
	"padlark/flight/predict"
)

// Flights that are drawn for a page, and their seed: the same page each time.
const (
	predictFlights = 200
	predictSeed    = 1
)

// prediction flies in the model what people noted of the launch. It is nil
// where too little is known; why then says what is missing, "" where nobody
// noted fill or pressure.
func prediction(g *gathered, t Typed) (res *predict.Result, why string) {
	if g.rocket.Kind == "solid" || t.FillMl == nil && t.PressureBar == nil {
		return nil, ""
	}
	in := predict.Of(g.rocket, g.session.Site)
	in.Flights, in.Seed = predictFlights, predictSeed
	if missing := lacks(&in, t); len(missing) > 0 {
		return nil, "From the noted fill and pressure nothing was predicted: " + strings.Join(missing, ", ") + " is not given."
	}
	t.launch(&in)
	res, err := predict.Run(in)
	switch over := (*predict.OverRating)(nil); {
	case errors.As(err, &over):
		return nil, fmt.Sprintf("The noted pressure of %.2f bar is above the bottle's rating of %.2f bar: nothing is predicted there.", over.Gauge/1e5, over.Rating/1e5)
	case err != nil:
		return nil, fmt.Sprintf("From the noted fill and pressure nothing could be predicted: %v.", err)
	}
	return res, ""
}

// addBottle takes a bottle, and a diameter that is missing, from a later
// description of the rocket. It says whether there was one.
func addBottle(to *flight.Rocket, k flight.Rocket) bool {
	to.BottleL, to.NozzleM, to.RatingBar, to.Discharge = k.BottleL, k.NozzleM, k.RatingBar, k.Discharge
	if to.DiameterM == 0 {
		to.DiameterM = k.DiameterM
	}
	return k.BottleL > 0
}

// lacks names what a prediction still needs.
func lacks(in *predict.Input, t Typed) []string {
	var out []string
	for _, need := range []struct {
		missing bool
		name    string
	}{
		{t.FillMl == nil, "the fill (padlark note)"},
		{t.PressureBar == nil, "the pressure (padlark note)"},
		{in.Rocket.Volume == 0, "the rocket's bottle_l"},
		{in.Rocket.Nozzle == 0, "its nozzle_m"},
		{in.Rocket.Diameter == 0, "its diameter_m"},
		{in.Rocket.Dry == 0 && t.MassG == nil, "its mass"},
		{in.Rating == 0, "its rating_bar"},
	} {
		if need.missing {
			out = append(out, need.name)
		}
	}
	return out
}

// predictedFrom says in words what was flown in the model.
func predictedFrom(g *gathered, t Typed) string {
	mass := fmt.Sprintf("%.0f g", 1000*g.rocket.MassKg)
	if t.MassG != nil {
		mass = fmt.Sprintf("%.0f g", *t.MassG)
	}
	configured := "as configured"
	if g.later {
		configured = "as configured by now"
	}
	return fmt.Sprintf("By the flight model, from what was noted of this launch (%.0f mL at %.2f bar, %s) and the rocket %s; ± is the spread of %d flights with inputs drawn around these.",
		*t.FillMl, *t.PressureBar, mass, configured, predictFlights)
}

// predictedRows puts what was measured beside the prediction.
func predictedRows(p *predict.Result, r *flight.Result) []Expected {
	out := []Expected{}
	for _, row := range []struct {
		name, unit string
		want       *predict.Quantity
		got, sd    *float64
	}{
		{"Apogee", "m", p.ApogeeM, r.ApogeeM, r.ApogeeSD},
		{"Time to apogee", "s", p.TimeToApogeeS, r.TimeToApogeeS, r.TimeToApogeeSD},
		{"Greatest speed", "m/s", p.MaxSpeedMps, r.MaxSpeedMps, r.MaxSpeedSD},
		{"Sink rate", "m/s", p.DescentMps, r.DescentMps, r.DescentSD},
	} {
		if row.want == nil {
			continue
		}
		sd := row.want.SD
		e := Expected{Name: row.name, Unit: row.unit, Expected: row.want.Mean, ExpectedSD: &sd, From: "the flight model", Measured: row.got, SD: row.sd}
		e.Words = difference(e, modelPart)
		out = append(out, e)
	}
	return out
}

// ExpectedText is the expected value with its unit and, if known, its ±.
func (e Expected) ExpectedText(to phrase.Reader) string {
	return plusMinus(to, e.Expected, e.ExpectedSD, e.Unit)
}
