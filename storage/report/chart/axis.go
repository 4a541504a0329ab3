package chart

import (
	"math"
	"strconv"
)

// tick is a labelled place of an axis.
type tick struct {
	at    float64
	label string
}

// sound makes an axis that can be drawn of one without values or with a single
// one.
func (a Axis) sound() Axis {
	if !(a.Max >= a.Min) || math.IsInf(a.Max-a.Min, 0) {
		a.Min, a.Max, a.Log = 0, 1, false
	}
	if a.Max == a.Min {
		half := max(math.Abs(a.Max), 1) / 2
		if a.Log {
			half = a.Max / 2
		}
		a.Min, a.Max = a.Min-half, a.Max+half
	}
	return a
}

// part is where a value is on an axis, from 0 at its begin to 1 at its end.
func (a Axis) part(v float64) float64 {
	if a.Log {
		return math.Log(v/a.Min) / math.Log(a.Max/a.Min)
	}
	return (v - a.Min) / (a.Max - a.Min)
}

// ticks are at steps of 1, 2 or 5 times a power of ten (common practice, no
// source); of a logarithmic axis these values themselves.
func (a Axis) ticks() []tick {
	if a.Log {
		return a.decades()
	}
	step := math.Pow(10, math.Floor(math.Log10((a.Max-a.Min)/float64(a.Most))))
	for _, m := range []float64{1, 2, 5, 10} {
		if (a.Max-a.Min)/(m*step) <= float64(a.Most) {
			step *= m
			break
		}
	}
	var out []tick
	for i := math.Ceil(a.Min/step - 1e-9); i*step <= a.Max+1e-9*step; i++ {
		v := i*step + 0 // no negative zero
		out = append(out, tick{v, strconv.FormatFloat(v, 'g', 6, 64)})
	}
	return out
}

// decades labels powers of ten, and 2 and 5 times those where there is room.
func (a Axis) decades() []tick {
	var out []tick
	steps := []float64{1, 2, 5}
	if a.Max/a.Min > 50*float64(a.Most) {
		steps = steps[:1]
	}
	for e := math.Floor(math.Log10(a.Min)); e <= math.Ceil(math.Log10(a.Max)); e++ {
		for _, m := range steps {
			v := m * math.Pow(10, e)
			if v >= a.Min*(1-1e-9) && v <= a.Max*(1+1e-9) {
				out = append(out, tick{v, strconv.FormatFloat(v, 'g', 4, 64)})
			}
		}
	}
	return out
}
