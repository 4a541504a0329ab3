package tune

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"padlark/flight/atmos"
	"padlark/flight/ensemble"
)

// ensemble is the ensemble that the study asks for, or that the recorded
// flights suggest.
func (s *Study) ensemble(r *Report) (spec ensemble.Spec, err error) {
	name, changes, _ := strings.Cut(s.Ensemble, ",")
	if strings.Contains(name, "=") {
		name, changes = "", s.Ensemble
	}
	if len(s.Recorded) > 0 {
		t, err := measure(s.Recorded)
		if err != nil {
			return spec, wrong("rocket", err)
		}
		r.Traits = &t
		if name == "" {
			name = "recorded"
		}
	}
	switch name {
	case "", "usual":
		spec = usual()
	case "poor":
		spec = Poor()
	case "wide":
		spec = broad()
	case "recorded":
		if r.Traits == nil {
			return spec, wrongf("ensemble", "recorded: is taken from recorded flights; add --flights all")
		}
		spec = around(*r.Traits)
	default:
		return spec, wrongf("ensemble", "%s: there is no such ensemble; give usual, poor, wide or recorded", name)
	}
	if s.Described != nil {
		r.Configured = s.Described.apply(&spec, r.Traits != nil && name == "recorded")
	}
	if changes != "" {
		if err := changeSpec(&spec, changes); err != nil {
			return spec, wrongf("ensemble", "%w", err)
		}
	}
	if err := reachable(spec); err != nil {
		return spec, wrong("ensemble", err)
	}
	r.Ensemble, r.RateHz, r.Says = spec.Name, slices.Min(spec.RateHz), describeSpec(spec)
	return spec, nil
}

// specKey is one thing that can be changed about an ensemble.
type specKey struct {
	name   string
	lo, hi float64 // what it may be
	set    func(*ensemble.Spec, ensemble.Range)
}

// specKeys are all of them.
func specKeys() []specKey {
	type spec = *ensemble.Spec
	type rng = ensemble.Range
	return []specKey{
		{"apogee", 3, 3000, func(s spec, r rng) { s.WaterM, s.SolidM = r, r }},
		{"mass", 10, 20000, func(s spec, r rng) { s.MassKg = rng{Lo: r.Lo / 1000, Hi: r.Hi / 1000} }},
		{"diameter", 10, 500, func(s spec, r rng) { s.DiameterM = rng{Lo: r.Lo / 1000, Hi: r.Hi / 1000} }},
		{"cd", 0.1, 2, func(s spec, r rng) { s.Cd = r }},
		{"rate", 2, 1000, func(s spec, r rng) { s.RateHz = []float64{r.Lo} }},
		{"noise", 0.001, 20, func(s spec, r rng) { s.NoiseM = r }},
		{"step", 0.1, 500, func(s spec, r rng) { s.StepPa = []float64{r.Lo} }},
		{"gust", 0, 200, func(s spec, r rng) { s.GustPa = r }},
		{"vent", 0, 100, func(s spec, r rng) { s.PortCp = rng{Lo: r.Lo / 100, Hi: r.Hi / 100} }},
		{"outliers", 0, 500, func(s spec, r rng) { s.OutliersPer1000 = r }},
		{"tilt", 0, 60, func(s spec, r rng) { s.TiltDeg = r }},
		{"wind", 0, 30, func(s spec, r rng) { s.WindMps = r }},
		{"elevation", -400, 5000, func(s spec, r rng) { s.ElevationM, s.PadPa = r, rng{} }},
		{"temperature", -40, 50, func(s spec, r rng) { s.PadC = r }},
	}
}

// changeSpec applies changes such as "apogee=40:90,rate=50".
func changeSpec(s *ensemble.Spec, text string) error {
	for _, part := range strings.Split(text, ",") {
		key, value, ok := strings.Cut(part, "=")
		if !ok {
			return fmt.Errorf("%q is no change; write it as apogee=40:90", part)
		}
		if err := changeOne(s, key, value); err != nil {
			return err
		}
	}
	return nil
}

func changeOne(s *ensemble.Spec, key, value string) error {
	if key == "kind" {
		return changeKind(s, value)
	}
	names := []string{"kind"}
	for _, k := range specKeys() {
		if k.name != key {
			names = append(names, k.name)
			continue
		}
		r, err := parseRange(value)
		switch {
		case err != nil:
			return fmt.Errorf("%s=%s: %w", key, value, err)
		case r.Lo < k.lo || r.Hi > k.hi:
			return fmt.Errorf("%s=%s: give %g to %g", key, value, k.lo, k.hi)
		case (key == "rate" || key == "step") && r.Lo != r.Hi:
			return fmt.Errorf("%s=%s: give one number", key, value)
		}
		k.set(s, r)
		return nil
	}
	return fmt.Errorf("%s=%s: there is no such key; give one of %s", key, value, strings.Join(names, ", "))
}

// changeKind sets which kinds of rocket fly.
func changeKind(s *ensemble.Spec, kind string) error {
	share, ok := map[string]float64{"water": 0, "solid": 1, "both": 0.5}[kind]
	if !ok {
		return fmt.Errorf("kind=%s: give water, solid or both", kind)
	}
	s.SolidShare = share
	return nil
}

// parseRange reads "40:90" or "40".
func parseRange(text string) (ensemble.Range, error) {
	a, b, two := strings.Cut(text, ":")
	if !two {
		b = a
	}
	lo, err := strconv.ParseFloat(a, 64)
	if err != nil {
		return ensemble.Range{}, fmt.Errorf("%q is no number", a)
	}
	hi, err := strconv.ParseFloat(b, 64)
	if err != nil {
		return ensemble.Range{}, fmt.Errorf("%q is no number", b)
	}
	if !(lo <= hi) {
		return ensemble.Range{}, fmt.Errorf("give the lower number first")
	}
	return ensemble.Range{Lo: lo, Hi: hi}, nil
}

// spanWords is a range in words.
func spanWords(r ensemble.Range) string {
	if lo, hi := threeFigures(r.Lo), threeFigures(r.Hi); lo != hi {
		return lo + " to " + hi
	}
	return threeFigures(r.Lo)
}

// threeFigures writes a number without an exponent.
func threeFigures(v float64) string {
	if math.Abs(v) >= 1000 {
		return fmt.Sprintf("%.0f", v)
	}
	return fmt.Sprintf("%.3g", v)
}

// apogeeWords are the apogees of each kind.
func apogeeWords(s ensemble.Spec) string {
	if s.SolidShare > 0 && s.SolidShare < 1 && s.WaterM != s.SolidM {
		return spanWords(s.WaterM) + " and " + spanWords(s.SolidM)
	}
	return spanWords(apogees(s))
}

// describeSpec says in words what is simulated.
func describeSpec(s ensemble.Spec) string {
	span := spanWords
	list := func(v []float64) string {
		var w []string
		for _, x := range v {
			w = append(w, fmt.Sprintf("%.4g", x))
		}
		return strings.Join(w, ", ")
	}
	kind := "water rockets"
	switch {
	case s.SolidShare >= 1:
		kind = "small solid rockets"
	case s.SolidShare > 0:
		kind = "water rockets and small solid ones"
	}
	if s.MassKg.Lo > 0 {
		kind += " of " + span(ensemble.Range{Lo: 1000 * s.MassKg.Lo, Hi: 1000 * s.MassKg.Hi}) + " g"
	}
	if s.DiameterM.Lo > 0 {
		kind += ", " + span(ensemble.Range{Lo: 1000 * s.DiameterM.Lo, Hi: 1000 * s.DiameterM.Hi}) + " mm across"
	}
	text := kind + fmt.Sprintf(", apogee %s m, %s readings a second, noise %s m, steps of %s Pa, gusts of %s Pa, vent error up to %.3g %% of the dynamic pressure, tilt %s degrees, wind %s m/s",
		apogeeWords(s), list(s.RateHz), span(s.NoiseM), list(s.StepPa), span(s.GustPa), 100*s.PortCp.Hi, span(s.TiltDeg), span(s.WindMps))
	if s.OutliersPer1000.Hi > 0 {
		text += fmt.Sprintf(", %s wrong readings in 1000", span(s.OutliersPer1000))
	}
	return text
}

// slopeFor is the firmware's height per pressure for the middle of the sites.
func slopeFor(s ensemble.Spec) int32 {
	pa := ensemble.StandardPa((s.ElevationM.Lo + s.ElevationM.Hi) / 2)
	if s.PadPa.Lo > 0 {
		pa = (s.PadPa.Lo + s.PadPa.Hi) / 2
	}
	return SlopeAt(pa, (s.PadC.Lo+s.PadC.Hi)/2)
}

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
	cd, apogee := 0.5, apogees(s).Hi
	if s.Cd.Lo > 0 {
		cd = s.Cd.Hi
	}
	pa := ensemble.StandardPa((s.ElevationM.Lo + s.ElevationM.Hi) / 2)
	density := pa / (atmos.GasConstant * ((s.PadC.Lo+s.PadC.Hi)/2 + atmos.ZeroC))
	area := cd * math.Pi / 4 * s.DiameterM.Hi * s.DiameterM.Hi
	// vt^2 is 2 m g / (density area).
	if density*area*apogee/s.MassKg.Lo > dragLimit {
		return fmt.Errorf("a rocket of %.0f g, %.0f mm across, does not rise to %.0f m: its drag is too high; check mass (g) and diameter (mm), or give a lower apogee=…",
			1000*s.MassKg.Lo, 1000*s.DiameterM.Hi, apogee)
	}
	return nil
}
