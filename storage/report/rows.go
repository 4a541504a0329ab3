package report

import (
	"fmt"
	"math"
	"strings"

	"padlark/flight"
	"padlark/flight/atmos"
	"padlark/flight/phrase"
	"padlark/flight/predict"
)

// rows are the results with how each was computed.
func rows(g *gathered, to phrase.Reader) []Row {
	r := &g.flight.Result
	p := g.flight.Series.ApogeeParts
	top := "Top of a ballistic curve with drag, fitted to all readings around it; pressure to height by the hypsometric equation from the pad's pressure and the site's temperature."
	if p.Readings > 0 {
		unit, per := to.Unit("m")
		top += fmt.Sprintf(" ± is made of readings %.2f %[5]s, temperature %.2[2]f %[5]s, lapse %.2[3]f %[5]s, sensor %.2[4]f %[5]s.", p.Readings/per, p.Temperature/per, p.Lapse/per, p.Sensor/per, unit)
	}
	list := []Row{
		{Name: "Apogee above the pad", Value: r.ApogeeM, SD: r.ApogeeSD, Unit: "m", How: top},
		{Name: "Liftoff to apogee", Value: r.TimeToApogeeS, SD: r.TimeToApogeeSD, Unit: "s", How: "Fitted apogee less fitted liftoff, both on the board's clock."},
		{Name: "Greatest speed, upward", Value: r.MaxSpeedMps, SD: r.MaxSpeedSD, Unit: "m/s", How: "End of the thrust phase fitted as an even push, joined to the coast. Vertical part only."},
		{Name: "Greatest acceleration", Value: r.MaxAccelMps2, SD: r.MaxAccelSD, Unit: "m/s²", How: "Highest reading of the board's accelerometer less gravity. Pressure alone cannot tell it."},
		{Name: "Burnout after liftoff", Value: r.BurnoutS, SD: r.BurnoutSD, Unit: "s", How: "End of the fitted push."},
		{Name: "Release after apogee", Value: r.ReleaseLagS, SD: r.ReleaseLagSD, Unit: "s", How: "From the fitted apogee to the release as the board told it. Where none was told: to where the parachute begins to slow the fall, found from the readings."},
		{Name: "Sink rate", Value: r.DescentMps, SD: r.DescentSD, Unit: "m/s", How: "Mean from the full parachute, the last if there were two, to the ground."},
		{Name: "In the air", Value: r.DurationS, Unit: "s", How: "Liftoff to touchdown, where the fitted fall meets the ground."},
		{Name: "Apogee called late by", Value: r.ApogeeCalledLate, Unit: "s", How: "The live call less the apogee found afterwards."},
	}
	out := []Row{}
	for _, row := range list {
		if row.Value == nil {
			continue
		}
		row.Text = plusMinus(to, *row.Value, row.SD, row.Unit)
		out = append(out, row)
	}
	return out
}

// plusMinus writes a value in SI for a reader, with as many digits as its standard
// deviation supports: two of the deviation's own.
func plusMinus(to phrase.Reader, v float64, sd *float64, unit string) string {
	unit, per := to.Unit(unit)
	if v /= per; sd != nil {
		sd = new(*sd / per)
	}
	p := 1
	if math.Abs(v) < 10 {
		p = 2
	}
	if sd != nil && *sd > 0 {
		p = max(0, min(4, 1-int(math.Floor(math.Log10(*sd)))))
		return fmt.Sprintf("%.*f ± %.*f %s", p, v, p, *sd, unit)
	}
	return fmt.Sprintf("%.*f %s", p, v, unit)
}

// Expected is one number that was expected, and what happened.
type Expected struct {
	Name     string  `json:"name"`
	Unit     string  `json:"unit"`
	Expected float64 `json:"expected"`
	// ExpectedSD is the spread that the inputs of a prediction leave; nil where
	// it is not known.
	ExpectedSD *float64 `json:"expected_sd"`
	From       string   `json:"from"`
	Measured   *float64 `json:"measured"`
	SD         *float64 `json:"sd"`
	Words      string   `json:"words"`
}

// modelPart is how far models of a flight commonly are from measured ones, as a
// part: 6 % (Barrio-Perotti et al., Eur. J. Phys. 31 (2010) 1131, abstract) to
// 10 % (Yang and Houston, IAJC/ISAM 2016, abstract).
const modelPart = 0.10

// expectations compares with what was predicted from the notes, or else with
// what the configuration expects.
func expectations(g *gathered, predicted *predict.Result) []Expected {
	k, r := &g.rocket, &g.flight.Result
	out := []Expected{}
	add := func(name, unit string, want float64, from string, got, sd *float64, part float64) {
		if want > 0 {
			e := Expected{Name: name, Unit: unit, Expected: want, From: from, Measured: got, SD: sd}
			e.Words = difference(e, part)
			out = append(out, e)
		}
	}
	if predicted != nil {
		// What people noted of this very launch says more than what the
		// configuration expects of every one.
		return append(out, predictedRows(predicted, r)...)
	}
	add("Apogee", "m", k.ExpectApogeeM, "the configuration", r.ApogeeM, r.ApogeeSD, modelPart)
	add("Time to apogee", "s", k.ExpectApogeeS, "the configuration", r.TimeToApogeeS, r.TimeToApogeeSD, modelPart)
	// The drag of a canopy is known to about a fifth (common practice, no
	// source), its sink rate to half of that.
	add("Sink rate", "m/s", sinkRate(k, &g.session.Site), "mass and parachute", r.DescentMps, r.DescentSD, modelPart)
	return out
}

// difference says whether what happened is what was expected, given the
// reading's own deviation and how good such expectations are.
func difference(e Expected, part float64) string {
	if e.Measured == nil {
		return "not measured"
	}
	d := *e.Measured - e.Expected
	sd := 0.0
	if e.SD != nil {
		sd = *e.SD
	}
	from := "the measurement's ±"
	if e.ExpectedSD != nil {
		sd, from = math.Hypot(sd, *e.ExpectedSD), "the ± of both"
	}
	s := fmt.Sprintf("%+.0f %%", 100*d/e.Expected)
	if strings.HasSuffix(s, "0 %") && len(s) == len("+0 %") {
		s = "0 %"
	}
	switch {
	case math.Abs(d) <= 2*sd:
		return s + ", within 2 of " + from
	case math.Abs(d) > part*e.Expected && math.Abs(d) <= part*e.Expected+2*sd:
		return s + fmt.Sprintf(", within the %.0f %% of such a model and 2 of %s", 100*part, from)
	case math.Abs(d) <= part*e.Expected:
		return s + fmt.Sprintf(", within the %.0f %% of such a model", 100*part)
	case d < 0:
		return s + ", clearly less"
	}
	return s + ", clearly more"
}

// sinkRate is the steady speed under the parachute near the ground, in m/s; 0 if
// the rocket's description does not say.
func sinkRate(k *flight.Rocket, site *flight.Site) float64 {
	if k.MassKg <= 0 || k.ParachuteM <= 0 {
		return 0
	}
	elevation := 0.0
	if site.ElevationM != nil {
		elevation = *site.ElevationM
	}
	air := atmos.At(atmos.Geopotential(elevation))
	if site.TemperatureC != nil {
		air.Temperature = atmos.ZeroC + *site.TemperatureC
	}
	return atmos.TerminalSpeed(k.MassKg, k.ParachuteM, k.CanopyCd(), atmos.Density(air.Pressure, air.Temperature))
}
