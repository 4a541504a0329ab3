package track

import (
	"math"

	"padlark/flight"
	"padlark/flight/atmos"
)

const (
	gravity = atmos.StandardGravity
	zeroC   = atmos.ZeroC
)

// column turns pressure into height. T is the virtual temperature where the
// site's humidity is told. The air is taken to be warmest at the pad
// and to cool by the standard 6.5 K per km above it, so that
//
//	height = T/L (1 - (p/pad)^(R L/g))
//
// It works in two steps. The first gives the "scale height" z = R T/g ln(ref/p)
// against any fixed reference; z needs no pad level, so it can be averaged and
// kept while the pad level is still being learnt. The second bends the
// difference of two z into metres of height.
type column struct {
	scale float64 // R T/g, m
	bend  float64 // L/T, 1/m
	ref   float64 // Pa; 0 until the first reading
	plain bool    // the board sends metres: no conversion
}

func newColumn(site flight.Site) column {
	kelvin := 15 + zeroC
	if site.TemperatureC != nil {
		kelvin = *site.TemperatureC + zeroC
	}
	if site.Humidity != nil {
		kelvin = atmos.VirtualTemperature(kelvin, usualPa(site), *site.Humidity)
	}
	return column{scale: atmos.GasConstantISO * kelvin / gravity, bend: atmos.Lapse / kelvin}
}

// usualPa is the standard pressure in Pa at the site. What moist air weighs hangs
// little on it: 3 % off is 0.05 % of a height at the most.
func usualPa(site flight.Site) float64 {
	if site.ElevationM == nil {
		return atmos.StandardPressure
	}
	return atmos.At(atmos.Geopotential(*site.ElevationM)).Pressure
}

// z of a pressure in Pa, in m; rises with height.
func (c *column) z(pa float64) float64 {
	if c.ref == 0 {
		c.ref = pa
	}
	return c.scale * math.Log(c.ref/pa)
}

// height in m that a difference of z stands for.
func (c *column) height(dz float64) float64 {
	if c.plain {
		return dz
	}
	return -math.Expm1(-c.bend*dz) / c.bend
}
