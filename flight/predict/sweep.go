package predict

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"

	"padlark/flight/model"
)

// Sweep is the apogee over one quantity of the launch, with all else as given.
type Sweep struct {
	Points []SweepPoint `json:"points"`
	// Best is the place of the highest mean among Points.
	Best int `json:"best"`
	// From and To bound the values about which the spread of the inputs leaves it
	// open whether they or the best are higher: in fewer than 95 of 100 draws the
	// best is.
	From float64 `json:"from"`
	To   float64 `json:"to"`
}

// SweepPoint is one value of the quantity.
type SweepPoint struct {
	Value   float64  `json:"value"`
	ApogeeM Quantity `json:"apogee_m"`
	// LessM is how much lower than the best it is in the same draws, in m.
	LessM   float64 `json:"less_m"`
	LessSDM float64 `json:"less_sd_m"`
	// Certain is the share of the draws in which the best is higher.
	Certain float64 `json:"certain"`
}

// sweepPoints is how many values of a range are flown.
const sweepPoints = 13

// Over is a quantity of the launch and the values of it to fly.
type Over struct {
	// Key is water or pressure, Unit is mL or bar.
	Key, Unit string
	Values    []float64
	apply     func(*Input, float64)
}

// ReadOver reads water=200:1000 (mL) or pressure=2:5 (bar).
func ReadOver(text string) (Over, error) {
	key, span, ok := strings.Cut(text, "=")
	from, to, two := strings.Cut(span, ":")
	lo, errLo := strconv.ParseFloat(from, 64)
	hi, errHi := strconv.ParseFloat(to, 64)
	s := Over{Key: key}
	switch key {
	case "water":
		s.Unit, s.apply = "mL", func(in *Input, ml float64) { in.Launch.Fraction = ml * 1e-6 / in.Rocket.Volume }
	case "pressure":
		s.Unit, s.apply = "bar", func(in *Input, bar float64) { in.Launch.Gauge = bar * 1e5 }
	default:
		ok = false
	}
	if !ok || !two || errLo != nil || errHi != nil || !(lo > 0) || !(hi > lo) {
		return s, fmt.Errorf("%s: write water=200:1000, in mL, or pressure=2:5, in bar", text)
	}
	for i := range sweepPoints {
		s.Values = append(s.Values, lo+(hi-lo)*float64(i)/(sweepPoints-1))
	}
	return s, nil
}

// sure is the share of draws from which the best counts as higher.
const sure = 0.95

// RunSweep flies the same draws at each of the values: what differs between two
// of them is then owed to the value alone. The errors are those of Run.
func RunSweep(in Input, over Over) (*Sweep, error) {
	values := over.Values
	if len(values) < 2 {
		return nil, fmt.Errorf("predict: %d values to compare: two are needed", len(values))
	}
	heights := make([][]float64, len(values))
	for k, v := range values {
		at := in
		over.apply(&at, v)
		if err := at.prepare(); err != nil {
			return nil, fmt.Errorf("predict: %w", err)
		}
		d := dice{rand.New(rand.NewPCG(at.Seed, 0x9e3779b97f4a7c15))}
		for range at.Flights {
			r, l := at.draw(d)
			r.Release = model.Release{} // the way up is all that counts
			h := math.NaN()
			if tr, err := model.Fly(r, l); err == nil && tr.Marks.Apogee.Seen {
				h = tr.Marks.Apogee.Height
			}
			heights[k] = append(heights[k], h)
		}
	}
	s := &Sweep{}
	for k, v := range values {
		var flew []float64
		for _, h := range heights[k] {
			if !math.IsNaN(h) {
				flew = append(flew, h)
			}
		}
		p := SweepPoint{Value: v}
		if q := quantity(flew); q != nil && 2*len(flew) > len(heights[k]) {
			p.ApogeeM = *q
		}
		s.Points = append(s.Points, p)
		if p.ApogeeM.Mean > s.Points[s.Best].ApogeeM.Mean {
			s.Best = k
		}
	}
	if s.Points[s.Best].ApogeeM.Mean == 0 {
		return nil, fmt.Errorf("predict: at none of the %d values the rocket flies", len(values))
	}
	s.From, s.To = values[s.Best], values[s.Best]
	for k := range values {
		s.Points[k].hold(heights[k], heights[s.Best])
		if s.Points[k].Certain < sure {
			s.From, s.To = min(s.From, values[k]), max(s.To, values[k])
		}
	}
	return s, nil
}

// hold compares the flights of a point with those of the best, draw by draw.
func (p *SweepPoint) hold(own, best []float64) {
	var n, higher, sum, squares float64
	for i := range own {
		d := best[i] - own[i]
		switch {
		case math.IsNaN(best[i]):
			continue
		case math.IsNaN(own[i]): // this one did not fly
			n, higher = n+1, higher+1
			continue
		case d > 0:
			higher++
		}
		n++
		sum, squares = sum+d, squares+d*d
	}
	if n == 0 {
		return
	}
	p.LessM = sum / n
	p.LessSDM = math.Sqrt(max(squares/n-p.LessM*p.LessM, 0))
	p.Certain = higher / n
}
