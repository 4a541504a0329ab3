package tune

import (
	"fmt"
	"math"
	"strings"

	"padlark/flight"
	"padlark/flight/ensemble"
)

// Described is what a configuration says of a rocket and of the site.
type Described struct {
	Rocket flight.Rocket // its name is empty where none was chosen
	Site   flight.Site
}

// How far things are from what a configuration says, on other days and flights
// (common practice, no source).
const (
	massPart  = 0.1  // of the mass, to either side
	padSpanK  = 10.0 // of the temperature
	windPart  = 1.5  // of the wind at most
	windLeast = 5.0  // m/s
)

// apply puts it into an ensemble, and says what of it was used. What recorded
// flights tell is better than what was expected.
func (d *Described) apply(s *ensemble.Spec, recorded bool) string {
	r := &d.Rocket
	var used []string
	say := func(format string, v ...any) { used = append(used, fmt.Sprintf(format, v...)) }
	if r.Name != "" {
		s.SolidShare = 0
		kind := "water rocket"
		if r.Kind == "solid" {
			s.SolidShare, kind = 1, "solid rocket"
		}
		say("%s, a %s", r.Name, kind)
	}
	if r.MassKg > 0 {
		s.MassKg = plusOrMinus(r.MassKg, massPart*r.MassKg)
		say("mass %.0f g", 1000*r.MassKg)
	}
	if r.DiameterM > 0 {
		s.DiameterM = ensemble.Fixed(r.DiameterM)
		say("diameter %.0f mm", 1000*r.DiameterM)
	}
	if r.Cd > 0 {
		s.Cd = plusOrMinus(r.Cd, 0.15*r.Cd)
		say("drag coefficient %.2g", r.Cd)
	}
	if !recorded {
		d.applyExpected(s, say)
	}
	d.applySite(s, recorded, say)
	return strings.Join(used, ", ")
}

// applyExpected puts in what recorded flights would tell.
func (d *Described) applyExpected(s *ensemble.Spec, say func(string, ...any)) {
	r := &d.Rocket
	if m := r.ExpectApogeeM; m > 0 {
		s.WaterM = apogeesAround(m, m)
		s.SolidM = s.WaterM
		say("expected apogee %.0f m", m)
	}
	if r.RateHz > 0 {
		s.RateHz = []float64{r.RateHz}
		say("%.4g readings a second", r.RateHz)
	}
}

// applySite puts in the field.
func (d *Described) applySite(s *ensemble.Spec, recorded bool, say func(string, ...any)) {
	f := &d.Site
	if f.ElevationM != nil && !recorded {
		s.ElevationM, s.PadPa = ensemble.Fixed(*f.ElevationM), ensemble.Range{}
		say("elevation %.0f m", *f.ElevationM)
	}
	if f.TemperatureC != nil {
		s.PadC = plusOrMinus(*f.TemperatureC, padSpanK)
		say("temperature %.0f °C", *f.TemperatureC)
	}
	if f.WindMps > 0 {
		s.WindMps = ensemble.Range{Lo: 0, Hi: math.Max(windPart*f.WindMps, windLeast)}
		say("wind %.1f m/s", f.WindMps)
	}
}

func plusOrMinus(v, d float64) ensemble.Range { return ensemble.Range{Lo: v - d, Hi: v + d} }
