package main

import (
	"fmt"
	"math"
	"strings"

	"padlark/cmd/padlark/config"
	"padlark/flight"
	"padlark/flight/atmos"
	"padlark/flight/ensemble"
	"padlark/flight/tune"
)

// described is what the configuration says of a rocket and of the site.
type described struct {
	rocket flight.Rocket // its name is empty where none was chosen
	site   flight.Site
}

// described reads rocket and site from the configuration; nil without one. A
// configuration with one rocket needs no --rocket.
func (c *tuneCmd) described() (*described, error) {
	if c.Config == "" {
		return nil, nil
	}
	cfg, err := config.Load(c.Config)
	if err != nil {
		return nil, err
	}
	d := described{site: cfg.Site}
	var names []string
	for _, r := range cfg.Rockets {
		names = append(names, r.Name)
		if r.Name == c.Rocket || c.Rocket == "" && len(cfg.Rockets) == 1 {
			d.rocket = r
		}
	}
	switch {
	case d.rocket.Name != "":
		return &d, nil
	case len(c.Flights) > 0:
		// The rocket may be one of the recordings only.
		return &d, nil
	case len(names) == 0:
		return nil, fmt.Errorf("--config %s: it has no [[rocket]] whose release could be tuned; add one", c.Config)
	case c.Rocket == "":
		return nil, fmt.Errorf("--config %s: it has several rockets; choose one with --rocket: %s", c.Config, strings.Join(names, ", "))
	}
	return nil, fmt.Errorf("--rocket %s: %s has no such [[rocket]]; it has %s", c.Rocket, c.Config, strings.Join(names, ", "))
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
func (d *described) apply(s *ensemble.Spec, recorded bool) string {
	r := &d.rocket
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
func (d *described) applyExpected(s *ensemble.Spec, say func(string, ...any)) {
	r := &d.rocket
	if m := r.ExpectApogeeM; m > 0 {
		s.WaterM = tune.ApogeesAround(m, m)
		s.SolidM = s.WaterM
		say("expected apogee %.0f m", m)
	}
	if r.RateHz > 0 {
		s.RateHz = []float64{r.RateHz}
		say("%.4g readings a second", r.RateHz)
	}
}

// applySite puts in the field.
func (d *described) applySite(s *ensemble.Spec, recorded bool, say func(string, ...any)) {
	f := &d.site
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

// dragLimit is the most that 2 g h / vt^2 may be, where vt is the speed at
// which the rocket falls: it would have to start at more than seven times that
// speed.
const dragLimit = 4.0

// reachable refuses a rocket that no boost brings to the apogees, and a drag
// that says so before thousands of flights are tried.
func reachable(s ensemble.Spec) error {
	if s.MassKg.Lo == 0 || s.DiameterM.Lo == 0 {
		return nil
	}
	cd, apogee := 0.5, tune.Apogees(s).Hi
	if s.Cd.Lo > 0 {
		cd = s.Cd.Hi
	}
	pa := ensemble.StandardPa((s.ElevationM.Lo + s.ElevationM.Hi) / 2)
	density := pa / (atmos.GasConstant * ((s.PadC.Lo+s.PadC.Hi)/2 + zeroC))
	area := cd * math.Pi / 4 * s.DiameterM.Hi * s.DiameterM.Hi
	// vt^2 is 2 m g / (density area).
	if density*area*apogee/s.MassKg.Lo > dragLimit {
		return fmt.Errorf("a rocket of %.0f g, %.0f mm across, does not rise to %.0f m: its drag is too high; check mass (g) and diameter (mm), or give a lower apogee with --ensemble apogee=…",
			1000*s.MassKg.Lo, 1000*s.DiameterM.Hi, apogee)
	}
	return nil
}
