package atmos

import "math"

// Gravity is the acceleration of gravity in m/s2 at a latitude in degrees and
// an elevation in m above mean sea level. Normal gravity on the ellipsoid by
// Somigliana's formula with the constants of WGS 84 (NGA.STND.0036), less the
// free-air fall of 2 g / r per m. Local rock changes it by less than 0.001.
func Gravity(latitudeDeg, elevation float64) float64 {
	const (
		equator = 9.7803253359
		k       = 0.00193185265241
		e2      = 0.00669437999014
	)
	sin := math.Sin(latitudeDeg * math.Pi / 180)
	g := equator * (1 + k*sin*sin) / math.Sqrt(1-e2*sin*sin)
	return g * (1 - 2*elevation/EarthRadius)
}
