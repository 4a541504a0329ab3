package report

import (
	"fmt"
	"image/color"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"

	"padlark/flight"
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
func (p *Page) flightPlot(w, h vg.Length) (drawn, error) {
	from, to := p.window()
	s := p.Series
	t := s.T[from:to]
	above := "height above the pad, m"
	if h < 8*vg.Centimeter {
		above = "height, m"
	}
	height := newPlot("", above)
	speed := newPlot("time after liftoff, s", "vertical speed, m/s")
	if len(t) < 2 {
		height.X.Min, height.X.Max, height.Y.Min, height.Y.Max = 0, 1, 0, 1
		speed.X.Min, speed.X.Max, speed.Y.Min, speed.Y.Max = 0, 1, 0, 1
		height.Title.Text = "too few readings to draw"
		return drawn{plots: []*plot.Plot{height, speed}, w: w, h: h}, nil
	}
	blue := palette[0]
	if err := band(height, t, s.Height[from:to], s.HeightSD[from:to], color.NRGBA{0xc9, 0xda, 0xee, 0xff}); err != nil {
		return drawn{}, fmt.Errorf("draw height: %w", err)
	}
	dots, err := addDots(height, t, s.Raw[from:to], faint, vg.Points(0.9))
	if err != nil {
		return drawn{}, fmt.Errorf("draw readings: %w", err)
	}
	line, err := addLine(height, t, s.Height[from:to], blue, vg.Points(1.3))
	if err != nil {
		return drawn{}, fmt.Errorf("draw height: %w", err)
	}
	if err := band(speed, t, s.Speed[from:to], s.SpeedSD[from:to], color.NRGBA{0xf0, 0xd6, 0xc6, 0xff}); err != nil {
		return drawn{}, fmt.Errorf("draw speed: %w", err)
	}
	if _, err := addLine(speed, t, s.Speed[from:to], palette[1], vg.Points(1.3)); err != nil {
		return drawn{}, fmt.Errorf("draw speed: %w", err)
	}
	height.Legend.Add("smoothed, ± 2 standard deviations", line)
	height.Legend.Add("readings", dots)
	height.Legend.Padding = vg.Points(2.5)
	height.Legend.XOffs, height.Legend.YOffs = -vg.Points(4), -vg.Points(22)
	list := make([]mark, 0, len(p.Events))
	for _, e := range p.Events {
		list = append(list, mark{e.T, e.Kind})
	}
	height.Add(marks{list, true})
	speed.Add(marks{list, false})
	// Names and legend need as much room on a low plot as on a high one.
	height.Y.Max += 0.22 * max(1, float64(10*vg.Centimeter/h)) * (height.Y.Max - height.Y.Min)
	for _, q := range []*plot.Plot{height, speed} {
		q.X.Min, q.X.Max = t[0], t[len(t)-1]
	}
	return drawn{plots: []*plot.Plot{height, speed}, w: w, h: h}, nil
}

// band draws two standard deviations to either side.
func band(p *plot.Plot, t, v, sd []float64, c color.Color) error {
	lo, hi := make([]float64, len(t)), make([]float64, len(t))
	for i := range t {
		d := 2 * sd[i]
		if math.IsNaN(d) || math.IsInf(d, 0) {
			d = 0
		}
		lo[i], hi[i] = v[i]-d, v[i]+d
	}
	return addBand(p, t, lo, hi, c)
}
