package alarm

import (
	"fmt"
	"math"
	"strings"

	"padlark/flight"
	"padlark/flight/atmos"
)

// CheckRocket says what contradicts itself in the description of a rocket:
// one error that names the rocket, the field, the value and the mend.
func CheckRocket(r flight.Rocket) error {
	if strings.TrimSpace(r.Name) == "" {
		return fmt.Errorf("rocket without a name: give it one (name = \"Teal\")")
	}
	for _, check := range []func(flight.Rocket) error{checkWords, checkNumbers, checkSupply, checkPulses, checkDescent} {
		if err := check(r); err != nil {
			return fmt.Errorf("rocket %q: %w", r.Name, err)
		}
	}
	return nil
}

// checkWords checks the fields that are one of a few words.
func checkWords(r flight.Rocket) error {
	if r.Kind != "" && r.Kind != "water" && r.Kind != "solid" {
		return fmt.Errorf("kind %q is not known; use \"water\" or \"solid\"", r.Kind)
	}
	if r.Release != "" && r.Release != "servo" && r.Release != "none" {
		return fmt.Errorf("release %q is not known; use \"servo\" or \"none\"", r.Release)
	}
	if r.Cell != "" && !supplyOf(r.Cell).known() {
		names := make([]string, len(supplies))
		for i, s := range supplies {
			names[i] = s.name
		}
		return fmt.Errorf("cell %q is not known; use one of %s", r.Cell, strings.Join(names, ", "))
	}
	return nil
}

// checkNumbers refuses what no rocket has.
func checkNumbers(r flight.Rocket) error {
	for _, f := range []struct {
		key    string
		v, max float64
		unit   string
	}{
		{"release_delay_s", r.ReleaseDelayS, 60, "s"},
		{"release_rest_us", r.ReleaseRestUs, 5000, "us"},
		{"release_open_us", r.ReleaseOpenUs, 5000, "us"},
		{"release_min_us", r.ReleaseMinUs, 5000, "us"},
		{"release_max_us", r.ReleaseMaxUs, 5000, "us"},
		{"parachute_m", r.ParachuteM, 20, "m"},
		{"parachute_cd", r.ParachuteCd, 3, ""},
		{"mass_kg", r.MassKg, 100, "kg"},
		{"diameter_m", r.DiameterM, 1, "m"},
		{"cd", r.Cd, 3, ""},
		{"rate_hz", r.RateHz, 10000, "Hz"},
		{"expect_apogee_m", r.ExpectApogeeM, 20000, "m"},
		{"expect_apogee_s", r.ExpectApogeeS, 300, "s"},
	} {
		if math.IsNaN(f.v) || f.v < 0 || f.v > f.max {
			return fmt.Errorf("%s = %v is out of range; give a number from 0 to %v %s", f.key, f.v, f.max, f.unit)
		}
	}
	return nil
}

// checkSupply refuses a release servo on a battery that cannot drive it.
func checkSupply(r flight.Rocket) error {
	s := supplyOf(r.Cell)
	if r.Release == "servo" && s.known() && !s.servo {
		return fmt.Errorf("cell = %q cannot drive release = \"servo\": a %s battery gives too little current, its voltage collapses when the servo moves, and the board starts again before the parachute is out; common practice is to run a servo release from the 3.7 V lithium cell (cell = \"lipo-1s\")", r.Cell, strings.ToUpper(r.Cell))
	}
	return nil
}

// checkPulses refuses servo positions that contradict the limits.
func checkPulses(r flight.Rocket) error {
	lo, hi := pulseLimits(&r)
	if lo >= hi {
		return fmt.Errorf("release_min_us = %v is not below release_max_us = %v; swap or correct them", lo, hi)
	}
	for _, p := range []struct {
		key string
		us  float64
	}{{"release_rest_us", r.ReleaseRestUs}, {"release_open_us", r.ReleaseOpenUs}} {
		if p.us > 0 && (p.us < lo || p.us > hi) {
			return fmt.Errorf("%s = %v us is outside of the servo's safe range %v to %v us; correct it, or release_min_us and release_max_us", p.key, p.us, lo, hi)
		}
	}
	if r.ReleaseRestUs > 0 && r.ReleaseOpenUs > 0 && math.Abs(r.ReleaseRestUs-r.ReleaseOpenUs) < 50 {
		return fmt.Errorf("release_rest_us = %v and release_open_us = %v are the same position; a release must move", r.ReleaseRestUs, r.ReleaseOpenUs)
	}
	if r.Release == "none" && (r.ReleaseOpenUs > 0 || r.ReleaseRestUs > 0) {
		return fmt.Errorf("release = \"none\" but servo positions are given; set release = \"servo\" or leave release_rest_us and release_open_us out")
	}
	return nil
}

// checkDescent refuses a parachute that would let the rocket fall like a stone,
// and a release delay that leaves no fall to warn of.
func checkDescent(r flight.Rocket) error {
	if r.Release == "none" && r.ReleaseDelayS > 0 {
		return fmt.Errorf("release = \"none\" but release_delay_s = %v; leave it out, or set release = \"servo\"", r.ReleaseDelayS)
	}
	if v := atmos.TerminalSpeed(r.MassKg, r.ParachuteM, r.CanopyCd(), atmos.StandardDensity); !math.IsInf(v, 1) && v > 15 {
		return fmt.Errorf("parachute_m = %v lets %v kg sink at %.0f m/s, which is no landing; check the diameter (in m) and the mass (in kg)", r.ParachuteM, r.MassKg, v)
	}
	if r.ExpectApogeeM > 0 && r.ReleaseDelayS > 0 {
		fall := fallTime(r.ExpectApogeeM, 0, atmos.TerminalSpeed(r.MassKg, r.DiameterM, r.Cd, atmos.StandardDensity))
		if r.ReleaseDelayS > fall {
			return fmt.Errorf("release_delay_s = %v is longer than the %.1f s that a fall from expect_apogee_m = %v takes: the warning would come after the impact; shorten it", r.ReleaseDelayS, fall, r.ExpectApogeeM)
		}
	}
	if r.ExpectApogeeS > 0 && r.ExpectApogeeM > 0 {
		// Straight up without drag is the slowest way to a height; a boost from
		// rest at least half as slow again cannot be.
		if most := 3 * math.Sqrt(2*r.ExpectApogeeM/gravity); r.ExpectApogeeS > most {
			return fmt.Errorf("expect_apogee_s = %v is too long for expect_apogee_m = %v: a coast to that height takes %.1f s; correct one of them", r.ExpectApogeeS, r.ExpectApogeeM, most/3)
		}
	}
	return nil
}
