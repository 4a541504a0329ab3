package atmos

import "math"

// Constants of the standard atmosphere, ISO 2533:1975 and US Standard
// Atmosphere 1976 (NOAA-S/T 76-1562).
const (
	StandardGravity     = 9.80665 // m/s2
	StandardTemperature = 288.15  // K at 0 m
	StandardPressure    = 101325  // Pa at 0 m
	// GasConstant of dry air in J/(kg K): the 1976 standard's R*/M0 with
	// R* = 8314.32 J/(kmol K) and M0 = 28.9644 kg/kmol. ISO 2533 rounds it to
	// 287.05287, 7 parts in ten million less.
	GasConstant = 8314.32 / 28.9644
	// Lapse is how much colder the air gets with height up to 11 km, in K/m.
	Lapse = 0.0065
	// EarthRadius turns geometric into geopotential height, in m.
	EarthRadius = 6356766

	// Top is the geopotential height in m up to which this package goes;
	// Bottom the lowest.
	Top, Bottom = 20000, -5000

	tropopause  = 11000  // m
	tropoTemp   = 216.65 // K, 11 to 20 km
	exponent    = StandardGravity / (GasConstant * Lapse)
	invExponent = 1 / exponent
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
// Bottom to Top it gives NaN.
func At(h float64) State {
	var s State
	switch {
	case !(h >= Bottom && h <= Top):
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

// PressureAltitude gives the geopotential height in m at which the standard
// atmosphere has the pressure p in Pa: the inverse of At. Outside Bottom to
// Top, and for p that is not a positive number, it gives NaN.
func PressureAltitude(p float64) float64 {
	if !(p > 0) {
		return math.NaN()
	}
	h := StandardTemperature / Lapse * (1 - math.Pow(p/StandardPressure, invExponent))
	if h > tropopause {
		h = tropopause - scaleHeight*math.Log(p/tropoPressure)
	}
	// A little slack lets Top and Bottom themselves pass after rounding.
	if h < Bottom-1e-6 || h > Top+1e-6 {
		return math.NaN()
	}
	return h
}

// Geopotential turns a geometric height z above mean sea level into
// geopotential height, both in m: H = r z / (r + z).
func Geopotential(z float64) float64 { return EarthRadius * z / (EarthRadius + z) }

// Geometric is the inverse of Geopotential.
func Geometric(h float64) float64 { return EarthRadius * h / (EarthRadius - h) }
