package atmos

import (
	"fmt"
	"math"
)

// Pad is the air at the foot of a column: what was measured there. SI units.
type Pad struct {
	Pressure    float64 // Pa at the pad, not reduced to sea level
	Temperature float64 // K in the shade at the pad
	Humidity    float64 // relative, 0 to 1; 0 for dry air
	// Lapse is how much colder the air gets with height in K/m; nil means the
	// standard 0.0065.
	Lapse *float64
	// Gravity in m/s2; 0 means the standard 9.80665.
	Gravity float64
}

// Column is the air over one pad, its temperature falling evenly with height.
// It turns pressure into height above the pad and back. It is a small value
// that never changes; its methods allocate nothing and may be called from any
// goroutine.
type Column struct {
	pad     float64 // Pa
	virtual float64 // virtual temperature at the pad, K
	lapse   float64 // K/m
	gravity float64 // m/s2
	toH     float64 // R lapse / g, the power of the pressure ratio
	scale   float64 // R virtual / g, the height of an isothermal column, m
	perPad  float64 // 1/pad
	// How the virtual temperature changes with the temperature (K/K) and with
	// the relative humidity (K).
	perTemp, perHumidity float64
}

// evenLapse is the lapse in K/m below which the column is taken as isothermal;
// the difference over 2 km is then below a micrometre.
const evenLapse = 1e-10

// NewColumn checks the pad's air and prepares the column.
func NewColumn(p Pad) (Column, error) {
	lapse := Lapse
	if p.Lapse != nil {
		lapse = *p.Lapse
	}
	if p.Gravity == 0 {
		p.Gravity = StandardGravity
	}
	for _, f := range []struct {
		name, unit   string
		v, low, high float64
	}{
		{"pad pressure", "Pa", p.Pressure, 2e4, 1.3e5},
		{"pad temperature", "K", p.Temperature, 200, 340},
		{"relative humidity", "(part of 1)", p.Humidity, 0, 1},
		{"lapse", "K/m", lapse, -0.1, 0.03},
		{"gravity", "m/s2", p.Gravity, 9, 10},
	} {
		if !(f.v >= f.low && f.v <= f.high) {
			return Column{}, fmt.Errorf("set up air column: %s is %g %s: give a value from %g to %g %s",
				f.name, f.v, f.unit, f.low, f.high, f.unit)
		}
	}
	c := Column{pad: p.Pressure, perPad: 1 / p.Pressure, lapse: lapse, gravity: p.Gravity}
	c.virtual = VirtualTemperature(p.Temperature, p.Pressure, p.Humidity)
	// A tenth of a kelvin and of a percent: far above rounding, far below the
	// curvature.
	warmer := VirtualTemperature(p.Temperature+0.1, p.Pressure, p.Humidity)
	colder := VirtualTemperature(p.Temperature-0.1, p.Pressure, p.Humidity)
	c.perTemp = (warmer - colder) / 0.2
	c.perHumidity = (VirtualTemperature(p.Temperature, p.Pressure, 0.5005) -
		VirtualTemperature(p.Temperature, p.Pressure, 0.4995)) / 0.001
	c.toH = GasConstant * lapse / p.Gravity
	c.scale = GasConstant * c.virtual / p.Gravity
	return c, nil
}

// Height is the height above the pad in m at which the pressure is p in Pa,
// negative below it. NaN if p is not a positive number.
//
// With an even lapse L from the temperature T at the pad,
//
//	h = T/L (1 - (p/p0)^(R L / g)),
//
// so at a given pressure ratio h is proportional to T: an error of 1 K in the
// temperature of the site is 1/T of the height: 0.347 % at 15 and 0.341 % at 20
// degrees Celsius, more in moist air that is as moist in part when it is warmer.
// Gravity is taken as that of the pad all the way; at 1500 m this is 0.35 m.
func (c *Column) Height(p float64) float64 {
	if !(p > 0) {
		return math.NaN()
	}
	if math.Abs(c.lapse) < evenLapse {
		return -c.scale * math.Log(p*c.perPad)
	}
	// Expm1 and Log1p keep the digits that 1 - (p/p0)^x loses when x is small.
	return c.virtual / c.lapse * -math.Expm1(c.toH*math.Log(p*c.perPad))
}

// Pressure is the pressure in Pa at h m above the pad: the inverse of Height.
// NaN where the column would be colder than 0 K.
func (c *Column) Pressure(h float64) float64 {
	if math.Abs(c.lapse) < evenLapse {
		return c.pad * math.Exp(-h/c.scale)
	}
	cooler := c.lapse * h / c.virtual
	if !(cooler < 1) {
		return math.NaN()
	}
	return c.pad * math.Exp(math.Log1p(-cooler)/c.toH)
}

// Temperature is the virtual temperature in K at h m above the pad.
func (c *Column) Temperature(h float64) float64 { return c.virtual - c.lapse*h }

// MetresPerPascal is how much height one pascal is at h m above the pad:
// R T / (p g), 0.083 m/Pa at sea level. Noise of the sensor times this is noise
// of the height.
func (c *Column) MetresPerPascal(h float64) float64 {
	return GasConstant * c.Temperature(h) / (c.Pressure(h) * c.gravity)
}
