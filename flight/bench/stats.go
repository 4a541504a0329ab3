package bench

import (
	"math"
	"slices"

	"padlark/flight/atmos"
)

func meanOf(y []float64) float64 {
	var s float64
	for _, v := range y {
		s += v
	}
	return s / float64(len(y))
}

func sdOf(y []float64) float64 {
	if len(y) < 2 {
		return math.NaN()
	}
	m, s := meanOf(y), 0.0
	for _, v := range y {
		s += (v - m) * (v - m)
	}
	return math.Sqrt(s / float64(len(y)-1))
}

func medianOf(y []float64) float64 {
	if len(y) == 0 {
		return math.NaN()
	}
	s := slices.Clone(y)
	slices.Sort(s)
	if n := len(s); n%2 == 0 {
		return (s[n/2-1] + s[n/2]) / 2
	}
	return s[len(s)/2]
}

// line is a straight line through readings: y = at + slope (t - centre), the
// rms of what is left over, and the standard deviation of the slope.
type line struct {
	centre, at, slope, rms, slopeSD float64
}

func (l line) value(t float64) float64 { return l.at + l.slope*(t-l.centre) }

// fitLine fits by least squares. The slope's standard deviation comes from the
// means of up to 12 blocks, so that noise which is alike from one reading to
// the next counts in full.
func fitLine(t, y []float64) line {
	l := leastSquares(t, y)
	blocks := min(12, len(t)/4)
	if blocks < 4 {
		l.slopeSD = math.Inf(1)
		return l
	}
	bt, by := make([]float64, blocks), make([]float64, blocks)
	for i := range blocks {
		lo, hi := i*len(t)/blocks, (i+1)*len(t)/blocks
		bt[i], by[i] = meanOf(t[lo:hi]), meanOf(y[lo:hi])
	}
	b := leastSquares(bt, by)
	var xx float64
	for _, x := range bt {
		xx += (x - b.centre) * (x - b.centre)
	}
	l.slopeSD = b.rms * math.Sqrt(float64(blocks)/float64(blocks-2)) / math.Sqrt(xx)
	return l
}

func leastSquares(t, y []float64) line {
	l := line{centre: meanOf(t), at: meanOf(y)}
	var xy, xx float64
	for i := range t {
		xy += (t[i] - l.centre) * (y[i] - l.at)
		xx += (t[i] - l.centre) * (t[i] - l.centre)
	}
	if xx > 0 {
		l.slope = xy / xx
	}
	var s float64
	for i := range t {
		r := y[i] - l.value(t[i])
		s += r * r
	}
	l.rms = math.Sqrt(s / float64(len(t)))
	return l
}

// plateau is the mean of readings that should be steady, with a standard
// deviation from block means of half a second, not below what white noise of
// single readings would give.
func plateau(t, y []float64) (mean, sd float64) {
	mean = meanOf(y)
	var blocks []float64
	from := 0
	for i := 1; i <= len(t); i++ {
		if i == len(t) || t[i]-t[from] >= 0.5 {
			if i-from >= 3 {
				blocks = append(blocks, meanOf(y[from:i]))
			}
			from = i
		}
	}
	white := sdOf(y) / math.Sqrt(float64(len(y)))
	if len(blocks) < 3 {
		return mean, 2 * white
	}
	return mean, max(white, sdOf(blocks)/math.Sqrt(float64(len(blocks))))
}

func standardPa(elevationM float64) float64 {
	return atmos.At(atmos.Geopotential(elevationM)).Pressure
}

// heights turns pressure into height above where the checkup began.
type heights struct {
	column atmos.Column
	ok     bool
	pad    float64
}

func newHeights(pa, kelvin float64) heights {
	c, err := atmos.NewColumn(atmos.Pad{Pressure: pa, Temperature: kelvin})
	return heights{c, err == nil, pa}
}

// of gives m. A pressure that no air has (and that is judged elsewhere) still
// gives something to measure noise with.
func (h heights) of(pa float64) float64 {
	if !h.ok || !(pa > 0) {
		return 0.0832 * (h.pad - pa)
	}
	return h.column.Height(pa)
}
