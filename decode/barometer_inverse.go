package decode

import (
	"fmt"
	"math"
	"strings"
)

// rawCounts computes the raw counts of the layout's barometer for a message,
// by field index. It is nil where there is no barometer. Where the message has
// the counts themselves, they are sent as they are.
func (p *Program) rawCounts(v Message) (map[int]float64, error) {
	if p.barometer == nil {
		return nil, nil
	}
	fp, ft := p.fields[p.rawP].name, p.fields[p.rawT].name
	_, haveP := v.Values[fp]
	_, haveT := v.Values[ft]
	pa, ok := v.Values[PressurePa]
	degC, okT := v.Values[TemperatureC]
	if haveP && haveT || !ok || !okT || math.IsNaN(pa+degC) {
		return nil, nil
	}
	calc := p.barometer.of(v.Rocket)
	if calc == nil {
		return nil, fmt.Errorf("encode layout %q: rocket %d has no calibration words", p.name, v.Rocket)
	}
	rawP, rawT, err := invertBarometer(calc, countLimits(p.layout.Barometer), pa, degC)
	if err != nil {
		return nil, fmt.Errorf("encode layout %q: %w", p.name, err)
	}
	return map[int]float64{p.rawP: rawP, p.rawT: rawT}, nil
}

// limits are the raw counts that a sensor can give, to below; from 0, or from as
// much below it if they have a sign.
type limits struct {
	pressure, temperature float64
	signed                bool
}

func countLimits(b *Barometer) limits {
	switch strings.ToLower(b.Sensor) {
	case "bmp085", "bmp180":
		return limits{math.Ldexp(1, 16+b.Oversampling), 1 << 16, false}
	case "bmp280", "bme280":
		return limits{1 << 20, 1 << 20, false}
	case "dps310", "spl06":
		return limits{1 << 23, 1 << 23, true}
	case "lps22", "lps25":
		return limits{1 << 23, 1 << 15, true}
	}
	return limits{1 << 24, 1 << 24, false}
}

// invertBarometer finds the counts that come closest to a pressure in Pa and a
// temperature in degC. In all sensors the temperature depends on its own
// counts alone.
func invertBarometer(calc compensate, lim limits, pa, degC float64) (rawP, rawT float64, err error) {
	midP := math.Floor(lim.pressure * 0.4)
	rawT, ok := invertCounts(lim.temperature, lim.signed, degC, func(raw float64) float64 {
		_, t, ok := calc(midP, raw)
		if !ok {
			return math.NaN()
		}
		return t
	})
	if !ok {
		return 0, 0, fmt.Errorf("no raw count gives %g degC with these calibration words", degC)
	}
	rawP, ok = invertCounts(lim.pressure, lim.signed, pa, func(raw float64) float64 {
		p, _, ok := calc(raw, rawT)
		if !ok {
			return math.NaN()
		}
		return p
	})
	if !ok {
		return 0, 0, fmt.Errorf("no raw count gives %g Pa with these calibration words", pa)
	}
	return rawP, rawT, nil
}

// invertCounts looks for the count below limit whose value comes closest to
// the target: first the gentlest crossing on a coarse grid, for a function may
// have a pole, then by halving.
func invertCounts(limit float64, signed bool, target float64, value func(raw float64) float64) (float64, bool) {
	const grid = 512
	given := value
	value = func(raw float64) float64 {
		if v := given(raw); !math.IsNaN(v) {
			return v
		}
		return given(raw + 1) // a single count may be forbidden
	}
	lo, hi, rise := 0.0, 0.0, math.Inf(1)
	before, beforeAt := math.NaN(), 0.0
	first := 1
	if signed {
		first = 1 - grid
	}
	for i := first; i < grid; i++ {
		at := math.Floor(limit * float64(i) / grid)
		v := value(at)
		crosses := (before-target)*(v-target) <= 0
		if crosses && math.Abs(v-before) < rise {
			lo, hi, rise = beforeAt, at, math.Abs(v-before)
		}
		before, beforeAt = v, at
	}
	if math.IsInf(rise, 1) {
		return 0, false
	}
	rising := value(hi) > value(lo)
	for hi-lo > 1 {
		mid := math.Floor((lo + hi) / 2)
		if v := value(mid); (v < target) == rising {
			lo = mid
		} else {
			hi = mid
		}
	}
	if math.Abs(value(lo)-target) < math.Abs(value(hi)-target) {
		return lo, true
	}
	return hi, true
}
