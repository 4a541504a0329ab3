package bench

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"padlark/flight"
	"padlark/flight/alarm"
)

// Step is one stretch of a checkup.
type Step string

// The steps in their order.
const (
	StepBefore Step = "before" // the list before power is switched on
	StepRest   Step = "rest"   // left alone on the bench
	StepLift   Step = "lift"   // lifted by a known height and put back
	StepJar    Step = "jar"    // pressure down and back up, in a jar with a syringe
	StepSound  Step = "sound"  // a person says whether the sounder was heard
	StepServo  Step = "servo"  // a person says how the release moved
)

// AllSteps lists the steps in their order.
func AllSteps() []Step {
	return []Step{StepBefore, StepRest, StepLift, StepJar, StepSound, StepServo}
}

// Plan says what is checked and against what.
type Plan struct {
	// Rocket is the one to check. Without a name the first that is heard is
	// taken, as Known describes it.
	Rocket flight.Rocket
	Known  []flight.Rocket
	Site   flight.Site
	// Skip lists steps that are left out.
	Skip []Step
	// Asks says that a person answers; without, questions stay open and the
	// hands-on steps wait for what they look for.
	Asks bool
	// RestS is how long the board is left alone, WaitS how long a hands-on step
	// waits until it begins, FirstS how long for the first frame, in s.
	RestS, WaitS, FirstS float64
	// LiftM is how high the board is lifted, in m.
	LiftM float64
	// StationPa is the air pressure here as another instrument shows it, not
	// reduced to sea level, in Pa; nil if nobody typed it.
	StationPa *float64
	// ServoA is the current of the moving servo in A, from which the supply's
	// resistance is estimated.
	ServoA float64
	// BrownOutV is where the board starts again, in V; 0 for the supply's end
	// of discharge.
	BrownOutV float64
}

// Defaults of a plan: times in s, m, A.
const (
	defaultRestS  = 20.0
	defaultWaitS  = 60.0
	defaultFirstS = 10.0
	defaultLiftM  = 2.0
	defaultServoA = 0.5 // a 9 g servo under light load; common practice, no source
	mostRestS     = 4 * 3600.0
)

// prepare fills defaults and refuses what makes no sense.
func (p *Plan) prepare() error {
	if p.Site.PressurePa != nil && p.StationPa == nil {
		p.StationPa = p.Site.PressurePa
	}
	for _, d := range []struct {
		v       *float64
		def, lo float64
		hi      float64
		what    string
	}{
		{&p.RestS, defaultRestS, 1, mostRestS, "time at rest in s"},
		{&p.WaitS, defaultWaitS, 0.1, 3600, "time to wait for a hands-on step in s"},
		{&p.FirstS, defaultFirstS, 0.1, 3600, "time to wait for the first frame in s"},
		{&p.LiftM, defaultLiftM, 0.5, 100, "height of the lift in m"},
		{&p.ServoA, defaultServoA, 0.01, 20, "servo current in A"},
	} {
		if *d.v == 0 {
			*d.v = d.def
		}
		if !(*d.v >= d.lo && *d.v <= d.hi) {
			return fmt.Errorf("plan checkup: %s is %g: give %g to %g", d.what, *d.v, d.lo, d.hi)
		}
	}
	if p.StationPa != nil && !(*p.StationPa >= 4e4 && *p.StationPa <= 1.1e5) {
		return fmt.Errorf("plan checkup: station pressure is %g Pa: give 40000 to 110000 Pa, not reduced to sea level", *p.StationPa)
	}
	if !(p.BrownOutV >= 0 && p.BrownOutV < 30) {
		return fmt.Errorf("plan checkup: brown-out voltage is %g V: give 0 (the supply's end of discharge) to 30", p.BrownOutV)
	}
	for _, s := range p.Skip {
		if !slices.Contains(AllSteps(), s) {
			return fmt.Errorf("plan checkup: there is no step %q; the steps are %s", s, stepNames())
		}
	}
	return nil
}

func stepNames() string {
	var names []string
	for _, s := range AllSteps() {
		names = append(names, string(s))
	}
	return strings.Join(names, ", ")
}

// expectedPa is what a barometer should read here, and how it is known: typed
// in, or of the standard atmosphere at the site's elevation. NaN if neither is.
func (p *Plan) expectedPa() (pa float64, typed bool) {
	switch {
	case p.StationPa != nil:
		return *p.StationPa, true
	case p.Site.ElevationM != nil:
		return standardPa(*p.Site.ElevationM), false
	}
	return math.NaN(), false
}

// steps are those of the plan, in order.
func (p *Plan) steps() []Step {
	var out []Step
	for _, s := range AllSteps() {
		if !slices.Contains(p.Skip, s) {
			out = append(out, s)
		}
	}
	return out
}

// BeforePower is the list of what to look at before the board gets power, as
// the rocket's description asks for (common practice, no source).
func BeforePower(r flight.Rocket) []string {
	list := []string{
		"No bottle under pressure and no motor is attached to the rocket or near it.",
		"No solder bridges: every joint looked at with a lens, no bare wire touches another.",
		"The barometer faces up, is seated flat, and its hole is free and shaded from light.",
		"If there is a sounder: its + mark is on the + pad.",
		"Jumpers that a smaller variant of the processor needs are set as in the board's drawing.",
		"The radio's antenna is on: some transmitters are damaged without one.",
	}
	supply, known := alarm.SupplyNamed(r.Cell)
	switch {
	case r.Cell == "9v":
		list = append(list, "The battery clip is the right way round: red is +; measured with a meter, once.")
	case known && strings.HasPrefix(r.Cell, "li"):
		list = append(list, fmt.Sprintf("The lithium pack reads %.1f to %.1f V on a meter, its plug has + on the board's +, it is not swollen or dented, and it lies on something that does not burn.",
			supply.LowV, supply.FullV))
	case known:
		list = append(list, fmt.Sprintf("All %.0f cells lie the right way round: %.1f to %.1f V on a meter, + on the board's +.", supply.Cells, supply.LowV, supply.FullV))
	default:
		list = append(list, "The battery's + is on the board's +; measured with a meter, not judged by the wire's colour.")
	}
	if r.Release != "none" {
		list = append(list,
			"The servo's lead is the right way round: signal on signal, + in the middle on most servos, - on ground.",
			"The servo's arm is free to move: no fingers, wires or rubber bands in its way, and the parachute is out.")
	}
	return list
}

// Cautions are those of the bench; local rules and the range safety officer go
// first.
func Cautions(r flight.Rocket) []string {
	list := []string{
		"Never do this with a pressurised bottle or a motor attached: the release and the sounder may act at any moment.",
		"Keep fingers and eyes away from the servo's arm: it moves without warning when the apogee rule fires.",
	}
	if r.Cell == "" || strings.HasPrefix(r.Cell, "li") {
		list = append(list, "Lithium cells can burn: do not short, puncture, overcharge or leave them charging alone; put a hot or swollen one outside, away from anything that burns.")
	}
	return append(list, "Local rules, the club's and the range safety officer's word go before this page.")
}
