package atmos

import (
	"math"

	"padlark/decode"
)

// Constants of the standard atmosphere, ISO 2533:1975 and US Standard
// Atmosphere 1976 (NOAA-S/T 76-1562).
const (
	StandardGravity     = decode.StandardGravity // m/s2
	StandardTemperature = 288.15                 // K at 0 m
	StandardPressure    = 101325                 // Pa at 0 m
	// GasConstant of dry air in J/(kg K): the 1976 standard's R*/M0 with
	// R* = 8314.32 J/(kmol K) and M0 = 28.9644 kg/kmol. GasConstantISO is what ISO
	// 2533 rounds it to, 7 parts in ten million less. What is computed while a
	// rocket flies has always used that one, and a replay gives the same events.
	GasConstant    = 8314.32 / 28.9644
	GasConstantISO = 287.05287
	// ZeroC is 0 degrees Celsius in K, StandardDensity the air's at 0 m in kg/m3.
	ZeroC           = 273.15
	StandardDensity = 1.225
	// Lapse is how much colder the air gets with height up to 11 km, in K/m.
	Lapse = 0.0065
	// earthRadius turns geometric into geopotential height, in m.
	earthRadius = 6356766

	// Top is the geopotential height in m up to which this package goes;
	// bottom the lowest.
	Top, bottom = 20000, -5000

	tropopause  = 11000  // m
	tropoTemp   = 216.65 // K, 11 to 20 km
	exponent    = StandardGravity / (GasConstant * Lapse)
	scaleHeight = GasConstant * tropoTemp / StandardGravity // m, 11 to 20 km
)

// tropoPressure is the pressure at the tropopause in Pa.
var tropoPressure = StandardPressure * math.Pow(tropoTemp/StandardTemperature, exponent)

// State is the air at one height of the standard atmosphere.
type State struct {
	Temperature float64 // K
	Pressure    float64 // Pa
	Density     float64 // kg/m3
}

// At gives the standard atmosphere at the geopotential height h in m. Outside
// bottom to Top it gives NaN.
func At(h float64) State {
	var s State
	switch {
	case !(h >= bottom && h <= Top):
		nan := math.NaN()
		return State{nan, nan, nan}
	case h <= tropopause:
		s.Temperature = StandardTemperature - Lapse*h
		s.Pressure = StandardPressure * math.Pow(s.Temperature/StandardTemperature, exponent)
	default:
		s.Temperature = tropoTemp
		s.Pressure = tropoPressure * math.Exp(-(h-tropopause)/scaleHeight)
	}
	s.Density = s.Pressure / (GasConstant * s.Temperature)
	return s
}

// Geopotential turns a geometric height z above mean sea level into
// geopotential height, both in m: H = r z / (r + z).
func Geopotential(z float64) float64 { return earthRadius * z / (earthRadius + z) }

// Density is that of dry air in kg/m3 at a pressure in Pa and a temperature in K.
func Density(pressure, temperature float64) float64 { return pressure / (GasConstantISO * temperature) }

// TerminalSpeed is the steady fall in m/s of a mass in kg behind the area of a disc
// of so many metres across, with a drag coefficient cd, in air of density rho in
// kg/m3. It is +Inf when a quantity is missing: no drag is then assumed, which makes
// times to the ground too short rather than too long.
func TerminalSpeed(mass, diameter, cd, rho float64) float64 {
	area := math.Pi / 4 * diameter * diameter
	if mass <= 0 || area <= 0 || cd <= 0 || rho <= 0 {
		return math.Inf(1)
	}
	return math.Sqrt(2 * mass * StandardGravity / (rho * cd * area))
}
