package decode

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Figures of physics that units are made of; those of the air are in flight/atmos.
const (
	StandardGravity = 9.80665 // m/s2, ISO 2533: the unit g
	absoluteZeroC   = -273.15 // of the kelvin, degrees Celsius (SI)
)

// A quantity is what a unit measures.
type quantity string

const (
	pressure     quantity = "pressure"
	temperature  quantity = "temperature"
	length       quantity = "length"
	speed        quantity = "speed"
	acceleration quantity = "acceleration"
	voltage      quantity = "voltage"
	duration     quantity = "time"
	angle        quantity = "angle"
	power        quantity = "power level"
	ratio        quantity = "ratio"
	pure         quantity = "number"
	frequency    quantity = "frequency"
	current      quantity = "current"
	mass         quantity = "mass"
	turnRate     quantity = "turn rate"
)

// A unit converts to the SI unit of its quantity: si = value*factor + offset.
// The SI unit here is the one that channel names carry: degC for temperature
// and deg for angle.
type unit struct {
	name     string
	quantity quantity
	factor   float64
	offset   float64
	format   textFormat
}

// textFormat is how a number is written where it is not a plain one.
type textFormat uint8

const (
	plainNumber textFormat = iota
	// degreesMinutes is NMEA 0183's position: degrees, then two digits of
	// minutes with decimals (ddmm.mmmm or dddmm.mmmm).
	degreesMinutes
	// hoursMinutes is NMEA 0183's time of day: hhmmss or hhmmss.ss.
	hoursMinutes
	// clockTime is a time of day with anything between its numbers, and the
	// others are dates with a time, see timetext.go.
	clockTime
	yearMonthDay
	dayMonthYear
	monthDayYear
)

// units lists every unit, the SI unit of each quantity first. The inch of
// mercury and pound per square inch are the conventional values of
// NIST SP 811 (2008), appendix B.8 (from memory); the foot and g are exact.
func units() []unit {
	return []unit{
		{"Pa", pressure, 1, 0, plainNumber},
		{"dPa", pressure, 0.1, 0, plainNumber},
		{"cPa", pressure, 0.01, 0, plainNumber},
		{"hPa", pressure, 100, 0, plainNumber},
		{"kPa", pressure, 1000, 0, plainNumber},
		{"mbar", pressure, 100, 0, plainNumber},
		{"bar", pressure, 1e5, 0, plainNumber},
		{"inHg", pressure, 3386.389, 0, plainNumber},
		{"psi", pressure, 6894.757293168, 0, plainNumber},
		{"degC", temperature, 1, 0, plainNumber},
		{"cdegC", temperature, 0.01, 0, plainNumber},
		{"ddegC", temperature, 0.1, 0, plainNumber},
		{"mdegC", temperature, 0.001, 0, plainNumber},
		{"degF", temperature, 5.0 / 9, -32 * 5.0 / 9, plainNumber},
		{"K", temperature, 1, absoluteZeroC, plainNumber},
		{"m", length, 1, 0, plainNumber},
		{"cm", length, 0.01, 0, plainNumber},
		{"dm", length, 0.1, 0, plainNumber},
		{"mm", length, 0.001, 0, plainNumber},
		{"km", length, 1000, 0, plainNumber},
		{"ft", length, 0.3048, 0, plainNumber},
		{"m/s", speed, 1, 0, plainNumber},
		{"cm/s", speed, 0.01, 0, plainNumber},
		{"km/h", speed, 1 / 3.6, 0, plainNumber},
		{"kn", speed, 1852.0 / 3600, 0, plainNumber},
		{"ft/s", speed, 0.3048, 0, plainNumber},
		{"m/s2", acceleration, 1, 0, plainNumber},
		{"cm/s2", acceleration, 0.01, 0, plainNumber},
		{"g", acceleration, StandardGravity, 0, plainNumber},
		{"mg", acceleration, StandardGravity / 1000, 0, plainNumber},
		{"V", voltage, 1, 0, plainNumber},
		{"mV", voltage, 0.001, 0, plainNumber},
		{"cV", voltage, 0.01, 0, plainNumber},
		{"s", duration, 1, 0, plainNumber},
		{"ms", duration, 1e-3, 0, plainNumber},
		{"us", duration, 1e-6, 0, plainNumber},
		{"ns", duration, 1e-9, 0, plainNumber},
		{"min", duration, 60, 0, plainNumber},
		{"hhmmss", duration, 1, 0, hoursMinutes},
		{"hh:mm:ss", duration, 1, 0, clockTime},
		{"yyyy-mm-dd hh:mm:ss", duration, 1, 0, yearMonthDay},
		{"dd.mm.yyyy hh:mm:ss", duration, 1, 0, dayMonthYear},
		{"mm/dd/yyyy hh:mm:ss", duration, 1, 0, monthDayYear},
		{"deg", angle, 1, 0, plainNumber},
		{"rad", angle, 57.295779513082323, 0, plainNumber},
		{"deg1e7", angle, 1e-7, 0, plainNumber},
		{"ddmm.mmmm", angle, 1, 0, degreesMinutes},
		{"deg/s", turnRate, 1, 0, plainNumber},
		{"rad/s", turnRate, 57.295779513082323, 0, plainNumber},
		{"dBm", power, 1, 0, plainNumber},
		{"dB", ratio, 1, 0, plainNumber},
		{"1", pure, 1, 0, plainNumber},
		{"%", pure, 0.01, 0, plainNumber},
		{"Hz", frequency, 1, 0, plainNumber},
		{"A", current, 1, 0, plainNumber},
		{"mA", current, 0.001, 0, plainNumber},
		{"kg", mass, 1, 0, plainNumber},
	}
}

// suffixes maps the end of a channel's name to the unit it is kept in. The
// longer ones stand before those that they end with.
func suffixes() []struct{ suffix, unit string } {
	return []struct{ suffix, unit string }{
		{"_pa", "Pa"}, {"_mps2", "m/s2"}, {"_mps", "m/s"}, {"_dps", "deg/s"},
		{"_dbm", "dBm"}, {"_db", "dB"}, {"_deg", "deg"}, {"_hz", "Hz"},
		{"_kg", "kg"}, {"_ms", "ms"}, {"_us", "us"}, {"_s", "s"},
		{"_m", "m"}, {"_c", "degC"}, {"_v", "V"}, {"_a", "A"},
	}
}

// Units lists the names of all units by quantity, for help texts.
func Units() map[string][]string {
	out := map[string][]string{}
	for _, u := range units() {
		out[string(u.quantity)] = append(out[string(u.quantity)], u.name)
	}
	return out
}

// findUnit looks a unit up by its exact name: in units case carries meaning.
func findUnit(name string) (unit, bool) {
	all := units()
	i := slices.IndexFunc(all, func(u unit) bool { return u.name == name })
	if i < 0 {
		return unit{}, false
	}
	return all[i], true
}

// channelUnit is the unit that a channel's name says it is kept in; ok is
// false where the name ends in no unit.
func channelUnit(channel string) (unit, bool) {
	for _, s := range suffixes() {
		if strings.HasSuffix(channel, s.suffix) {
			return findUnit(s.unit)
		}
	}
	return unit{}, false
}

// A conversion is linear: to = from*mul/div + offset. It has both mul and div
// because 2007/100 is 20.07 and 2007*0.01 is not.
type conversion struct {
	mul, div, offset float64
	format           textFormat
}

func (c conversion) apply(v float64) float64 { return v*c.mul/c.div + c.offset }

func (c conversion) invert(v float64) float64 { return (v - c.offset) * c.div / c.mul }

// linear writes a factor as a whole divisor where it is one.
func linear(factor, offset float64, format textFormat) conversion {
	if inv := math.Round(1 / factor); inv > 1 && math.Abs(inv*factor-1) < 1e-12 {
		return conversion{1, inv, offset, format}
	}
	return conversion{factor, 1, offset, format}
}

// conversionFor says how a value written in the given unit becomes the
// channel's. An empty unit means that the value is already in it. The error
// names what would fit.
func conversionFor(channel, unitName string) (conversion, error) {
	to, named := channelUnit(channel)
	if unitName == "" {
		return linear(1, 0, plainNumber), nil
	}
	from, ok := findUnit(unitName)
	if !ok {
		if named {
			return conversion{}, fmt.Errorf("unknown unit %q; for %s write one of: %s",
				unitName, channel, strings.Join(fitting(to.quantity), ", "))
		}
		return conversion{}, fmt.Errorf("unknown unit %q; the units are: %s", unitName, strings.Join(allUnits(), ", "))
	}
	if !named {
		return conversion{}, fmt.Errorf("unit %q has no meaning here: the name %q does not end in a unit, so it is a plain number; "+
			"end the name in one (%s) or leave the unit out", unitName, channel, strings.Join(suffixList(), " "))
	}
	if from.quantity != to.quantity {
		return conversion{}, fmt.Errorf("unit %q measures %s, but %s is a %s in %s; write one of: %s",
			unitName, from.quantity, channel, to.quantity, to.name, strings.Join(fitting(to.quantity), ", "))
	}
	return linear(from.factor/to.factor, (from.offset-to.offset)/to.factor, from.format), nil
}

// clockScale says how many us one unit of a device clock is.
func clockScale(unitName string) (conversion, error) {
	u, ok := findUnit(unitName)
	if !ok || u.quantity != duration {
		return conversion{}, fmt.Errorf("unit %q is not one of time; for clock write one of: %s", unitName, strings.Join(fitting(duration), ", "))
	}
	switch u.name {
	case "ms": // exact, which 1e-3*1e6 is not
		return linear(1e3, 0, plainNumber), nil
	case "us":
		return linear(1, 0, plainNumber), nil
	case "ns":
		return conversion{mul: 1e-3, div: 1, format: plainNumber}, nil
	case "min":
		return linear(60e6, 0, plainNumber), nil
	}
	return linear(1e6, 0, u.format), nil
}

func fitting(q quantity) []string {
	var out []string
	for _, u := range units() {
		if u.quantity == q {
			out = append(out, u.name)
		}
	}
	return out
}

func allUnits() []string {
	var out []string
	for _, u := range units() {
		out = append(out, u.name)
	}
	return out
}

func suffixList() []string {
	var out []string
	for _, s := range suffixes() {
		out = append(out, s.suffix)
	}
	return out
}
