package guess

import (
	"fmt"
	"math"

	"padlark/decode"
)

// besides says whether a column is a second barometer's, beside the first: it trembles,
// and reads nearly the same. What was noted once, or stands in a bottle, does not.
func besides(all []*series, first, c *candidate) bool {
	a, b := all[first.column], all[c.column]
	one, two := a.mid*pascals[first.unit], b.mid*pascals[c.unit]
	return first.column != c.column && !b.same && one > 0 && math.Abs(two/one-1) < 0.02
}

// pascals is how many a unit has.
var pascals = map[string]float64{"hPa": 100, "Pa": 1, "kPa": 1000, "dPa": 0.1, "cPa": 0.01, "mbar": 100, "inHg": 3386.389, "psi": 6894.757, "bar": 1e5}

// pascalPerMetre is what the air near the ground loses: 12.0 Pa/m at 15 degC and
// sea level (density 1.225 kg/m3 of the International Standard Atmosphere, times
// the standard gravity).
const pascalPerMetre = 1.225 * decode.StandardGravity

// followsPressure says whether a column is the height of the pressure, and in
// which unit.
func followsPressure(p *series, unit string, h *series) (candidate, bool) {
	per := pascals[unit]
	slope, r := linear(p.v, h.v)
	if per == 0 || r > -0.9 {
		return candidate{}, false
	}
	perMetre := -slope / per * pascalPerMetre
	for _, u := range []struct {
		unit string
		per  float64
	}{{"m", 1}, {"ft", 3.28084}, {"dm", 10}, {"cm", 100}, {"mm", 1000}} {
		if perMetre > 0.8*u.per && perMetre < 1.25*u.per {
			score := 0.75
			if r < -0.98 {
				score = 0.9
			}
			return candidate{role: decode.AltitudeM, unit: u.unit, score: score, why: fmt.Sprintf("it follows the pressure as a height in %s does", u.unit)}, true
		}
	}
	return candidate{}, false
}
