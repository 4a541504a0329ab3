package ensemble

import "math"

// Constants of ISO 2533:1975 / US Standard Atmosphere 1976. The gas constant
// is ISO's. They and the air below are the drawn world's own and not those of
// flight/atmos: the estimator is checked against this world, so a mistake in its
// physics must not be in both.
const (
	g0       = 9.80665   // m/s2
	gasConst = 287.05287 // J/(kg K)
	lapse    = 0.0065    // K/m
	zeroC    = 273.15    // K
	seaPa    = 101325.0  // Pa
	seaK     = 288.15    // K
	expISA   = g0 / (gasConst * lapse)
)

// air is the true column above the pad: the temperature falls by the standard
// lapse from what it is at the pad.
type air struct {
	padPa float64 // pressure at the pad, Pa
	padK  float64 // temperature at the pad, K
}

// pressure in Pa at a height in m above the pad.
func (a air) pressure(h float64) float64 {
	x := lapse * h / a.padK
	if math.Abs(x) > 0.06 {
		return a.padPa * math.Exp(expISA*math.Log1p(-x))
	}
	// The binomial series to the sixth power: better than 1e-10 here, and
	// several times faster.
	const n = expISA
	s := 1 - x*(n-5)/6
	s = 1 - x*(n-4)/5*s
	s = 1 - x*(n-3)/4*s
	s = 1 - x*(n-2)/3*s
	s = 1 - x*(n-1)/2*s
	return a.padPa * (1 - x*n*s)
}

// height in m above the pad at which the pressure is pa; the inverse of
// pressure.
func (a air) height(pa float64) float64 {
	return a.padK / lapse * -math.Expm1(math.Log(pa/a.padPa)/expISA)
}

// density in kg/m3 at a height in m above the pad, by the first three terms
// of its series: within 1e-5 up to 1500 m.
func (a air) density(h float64) float64 {
	const n = expISA - 1
	x := lapse * h / a.padK
	return a.padDensity() * (1 - n*x*(1-(n-1)*x/2*(1-(n-2)*x/3)))
}

func (a air) padDensity() float64 { return a.padPa / (gasConst * a.padK) }

// paPerM is how much the pressure falls per metre at the pad; it turns a
// noise in metres into one in Pa.
func (a air) paPerM() float64 { return a.padDensity() * g0 }

// StandardPa is the pressure in Pa of the standard atmosphere at an elevation
// in m above mean sea level.
func StandardPa(elevation float64) float64 { return standardPa(elevation) }

func standardPa(elevation float64) float64 {
	return seaPa * math.Pow(1-lapse*elevation/seaK, expISA)
}
