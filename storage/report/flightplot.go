package report

import (
	"image/color"
	"math"
	"sort"

	"padlark/flight"
	"padlark/storage/report/chart"
)

// Picture is what is drawn of one flight, on the printed page and on the
// station's.
type Picture struct {
	Series
	Expected Series // only its heights are drawn; none where nothing was expected
	Events   []Moment
	Title    string // for who cannot see it
	// Unit is the one of lengths, and Metres is how many m it has; a metre if
	// nothing is given.
	Unit   string
	Metres float64
}

// window is the part of a series that is drawn: from 2 s before liftoff to 3 s
// after touchdown.
func (p *Picture) window(t []float64) (from, to int) {
	end := math.Inf(1)
	for _, e := range p.Events {
		if e.Kind == string(flight.Touchdown) {
			end = e.T + 3
		}
	}
	from = sort.SearchFloat64s(t, -2)
	return from, from + sort.Search(len(t)-from, func(i int) bool { return t[from+i] > end })
}

// in gives values of a window in the picture's unit.
func (p *Picture) in(v []float64, from, to int) []float64 {
	out := make([]float64, to-from)
	for i := range out {
		out[i] = math.NaN()
		if from+i < len(v) {
			out[i] = v[from+i] / p.Metres
		}
	}
	return out
}

// Sheet draws height and speed over time with the events.
func (p Picture) Sheet(w, h float64) chart.Sheet {
	if p.Unit == "" {
		p.Unit, p.Metres = "m", 1
	}
	from, to := p.window(p.T)
	t := p.T[from:to]
	above := "height above the pad, "
	if h < 8*chart.CM {
		above = "height, "
	}
	height := chart.New("", above+p.Unit)
	speed := chart.New("time after liftoff, s", "vertical speed, "+p.Unit+"/s")
	sheet := chart.Sheet{Title: p.Title, Plots: []*chart.Plot{height, speed}, W: w, H: h}
	if len(t) < 2 {
		height.Title = "too few readings to draw"
		return sheet
	}
	smoothed := p.in(p.Height, from, to)
	band(height, t, smoothed, p.in(p.HeightSD, from, to), chart.BlueBand)
	height.Points(t, p.in(p.Raw, from, to), chart.Style{Name: "readings", Color: chart.Faint, Radius: 0.9})
	if a, b := p.window(p.Expected.T); b > a {
		b = a + sort.SearchFloat64s(p.Expected.T[a:b], t[len(t)-1])
		height.Line(p.Expected.T[a:b], p.in(p.Expected.Height, a, b), chart.Style{Name: "expected", Color: chart.Soft, Width: 1, Dashes: []float64{5, 4}})
	}
	height.Line(t, smoothed, chart.Style{Name: "smoothed, ± 2 standard deviations", Color: chart.Palette[0], Width: 1.3})
	fall := p.in(p.Speed, from, to)
	band(speed, t, fall, p.in(p.SpeedSD, from, to), chart.RedBand)
	speed.Line(t, fall, chart.Style{Color: chart.Palette[1], Width: 1.3})
	height.LegendDown = 22
	for _, e := range p.Events {
		height.Marks = append(height.Marks, chart.Mark{At: e.T, Name: e.Kind})
		speed.Marks = append(speed.Marks, chart.Mark{At: e.T})
	}
	// Names and legend need as much room on a low plot as on a high one.
	height.Y.Max += 0.22 * max(1, 10*chart.CM/h) * (height.Y.Max - height.Y.Min)
	for _, q := range sheet.Plots {
		q.X.Min, q.X.Max = t[0], t[len(t)-1]
	}
	return sheet
}

// flightPlot is the picture on the printed page.
func (p *Page) flightPlot(w, h float64) chart.Sheet {
	unit, metres := p.To.Unit("m")
	return Picture{Series: p.Series, Events: p.Events, Unit: unit, Metres: metres}.Sheet(w, h)
}

// band draws two standard deviations to either side.
func band(p *chart.Plot, t, v, sd []float64, c color.NRGBA) {
	lo, hi := make([]float64, len(t)), make([]float64, len(t))
	for i := range t {
		d := 2 * sd[i]
		if math.IsNaN(d) || math.IsInf(d, 0) {
			d = 0
		}
		lo[i], hi[i] = v[i]-d, v[i]+d
	}
	p.Band(t, lo, hi, chart.Style{Color: c})
}
