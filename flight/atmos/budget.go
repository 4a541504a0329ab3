package atmos

import "math"

// Errors are the standard deviations of what goes into a barometric height.
// Zero means that the source is left out.
type Errors struct {
	NoisePa       float64 // of one pressure reading (or of the mean that is used)
	StepPa        float64 // resolution of the reading; its rounding error is step/sqrt(12)
	PadPa         float64 // of the pad pressure
	DriftPa       float64 // change of weather and sensor since the pad was measured
	TemperatureK  float64 // of the site temperature
	LapseKPerM    float64 // of the lapse
	Humidity      float64 // of the relative humidity, 0 to 1
	LinearityPart float64 // sensor gain error as a part of the pressure difference
}

// Budget says how uncertain a height is, by source, as standard deviations in m.
type Budget struct {
	Noise, Rounding, Pad, Drift, Temperature, Lapse, Humidity, Linearity float64
	// Total is the root of the sum of squares: the sources are independent.
	Total float64
}

// DefaultLapseSD is how far the lapse near the ground commonly is from the
// standard one, in K/m: from a neutral (0.0098) to an isothermal morning. Common
// practice, no source.
const DefaultLapseSD = 0.004

// Budget propagates errors to the height h in m. Temperature is exact (the
// height is proportional to the virtual temperature); the others are first order.
func (c *Column) Budget(h float64, e Errors) Budget {
	here := c.MetresPerPascal(h)
	// The pad pressure moves the foot of the column: the same ratio of
	// pressures is then another pressure aloft.
	foot := c.pressureRatio(h) * here
	b := Budget{
		Noise:       here * e.NoisePa,
		Rounding:    here * e.StepPa / math.Sqrt(12),
		Pad:         foot * e.PadPa,
		Drift:       here * e.DriftPa,
		Temperature: math.Abs(h) / c.virtual * c.perTemp * e.TemperatureK,
		Lapse:       math.Abs(c.perLapse(h)) * e.LapseKPerM,
		Humidity:    math.Abs(h) / c.virtual * c.perHumidity * e.Humidity,
		Linearity:   here * math.Abs(c.pad-c.Pressure(h)) * e.LinearityPart,
	}
	for _, s := range [...]float64{b.Noise, b.Rounding, b.Pad, b.Drift, b.Temperature, b.Lapse, b.Humidity, b.Linearity} {
		b.Total += s * s
	}
	b.Total = math.Sqrt(b.Total)
	return b
}

func (c *Column) pressureRatio(h float64) float64 { return c.Pressure(h) * c.perPad }

// perLapse is the change of the height with the lapse at a given pressure
// ratio, in m per K/m: close to -h^2/(2T).
func (c *Column) perLapse(h float64) float64 {
	const d = 1e-5
	up, down := *c, *c
	up.lapse, down.lapse = c.lapse+d, c.lapse-d
	up.toH = GasConstant * up.lapse / c.gravity
	down.toH = GasConstant * down.lapse / c.gravity
	p := c.Pressure(h)
	return (up.Height(p) - down.Height(p)) / (2 * d)
}
