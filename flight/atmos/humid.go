package atmos

import "math"

// epsilon is the ratio of the molar masses of water and dry air.
const epsilon = 18.01528 / 28.9644

// vapourPressure is the saturation pressure of water vapour over water in Pa
// at the temperature t in K. Magnus form with the coefficients of the WMO
// Guide (WMO-No. 8, annex 4.B; from memory), good to 0.3 % from -40 to 50
// degrees Celsius.
func vapourPressure(t float64) float64 {
	c := t - ZeroC
	return 611.2 * math.Exp(17.62*c/(243.12+c))
}

// VirtualTemperature is the temperature in K at which dry air has the density
// of air at temperature t (K), pressure p (Pa) and relative humidity (0 to 1).
// Moist air is lighter: at 30 degrees Celsius and full humidity the difference
// is 5 K, which is 1.6 % of a height.
func VirtualTemperature(t, p, humidity float64) float64 {
	if humidity <= 0 {
		return t
	}
	e := math.Min(humidity, 1) * vapourPressure(t)
	return t / (1 - (1-epsilon)*e/p)
}
