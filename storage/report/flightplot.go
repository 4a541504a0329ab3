package report

import (
	"image/color"
	"math"

	"padlark/flight"
	"padlark/storage/report/chart"
)

// window is the part of the series that is drawn: from 2 s before liftoff to
// 3 s after touchdown.
func (p *Page) window() (from, to int) {
	lo, hi := -2.0, math.Inf(1)
	for _, e := range p.Events {
		if e.Kind == string(flight.Touchdown) {
			hi = e.T + 3
		}
	}
	t := p.Series.T
	for from < len(t) && t[from] < lo {
		from++
	}
	to = from
	for to < len(t) && t[to] <= hi {
		to++
	}
	return from, to
}

// flightPlot draws height and speed over time with the events.
func (p *Page) flightPlot(w, h float64) chart.Sheet {
	from, to := p.window()
	s := p.Series
	t := s.T[from:to]
	above := "height above the pad, m"
	if h < 8*chart.CM {
		above = "height, m"
	}
	height := chart.New("", above)
	speed := chart.New("time after liftoff, s", "vertical speed, m/s")
	sheet := chart.Sheet{Plots: []*chart.Plot{height, speed}, W: w, H: h}
	if len(t) < 2 {
		height.Title = "too few readings to draw"
		return sheet
	}
	band(height, t, s.Height[from:to], s.HeightSD[from:to], chart.BlueBand)
	height.Points(t, s.Raw[from:to], chart.Style{Name: "readings", Color: chart.Faint, Radius: 0.9})
	height.Line(t, s.Height[from:to], chart.Style{Name: "smoothed, ± 2 standard deviations", Color: chart.Palette[0], Width: 1.3})
	band(speed, t, s.Speed[from:to], s.SpeedSD[from:to], chart.RedBand)
	speed.Line(t, s.Speed[from:to], chart.Style{Color: chart.Palette[1], Width: 1.3})
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
