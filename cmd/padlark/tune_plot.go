package main

import (
	"math"

	"padlark/flight/tune"
	"padlark/storage/report/chart"
)

// drawTradeOff writes the plot of risk against lag into file.
func drawTradeOff(file, format string, r *tuneResult) error {
	return savePlot(tradeOffPlot(r), 12*chart.CM, file, format)
}

// styleOf is how a family is drawn: colour and shape, so that either is enough.
func styleOf(f tune.Family) chart.Style {
	s := chart.Style{Name: f.String(), Radius: 2.6}
	switch f {
	case tune.Drop:
		s.Color, s.Shape = chart.Palette[0], chart.Disc
	case tune.Slope:
		s.Color, s.Shape = chart.Palette[1], chart.Square
	default:
		s.Color, s.Shape = chart.Palette[2], chart.Triangle
	}
	return s
}

// tradeOffPlot has the lag across and the risk up, so that good is down left.
func tradeOffPlot(r *tuneResult) *chart.Plot {
	best := &r.Stats[r.Best[0].Index]
	p := chart.New("released this long after apogee, in 95 of 100 flights, s", "failures in 1000 flights, at most (95 % sure)")
	p.Title = "Recommended: " + best.Settings.String()
	p.Y.Log = true

	last := lateOf(best)
	for _, i := range tune.Front(r.Stats) {
		last = math.Max(last, lateOf(&r.Stats[i]))
	}
	last = math.Max(1.6*last, 1)
	for _, f := range tune.Families() {
		var x, y []float64
		for i := range r.Stats {
			if s := &r.Stats[i]; s.Settings.Family == f && lateOf(s) > 0 && lateOf(s) <= last {
				x, y = append(x, lateOf(s)), append(y, 1000*s.Failed.High)
			}
		}
		if len(x) > 0 {
			p.Points(x, y, styleOf(f))
		}
	}
	limit := r.LimitPer1000
	p.Line([]float64{0, last}, []float64{limit, limit}, chart.Style{Name: "limit", Color: chart.Red, Width: 1, Dashes: []float64{5, 3}})
	if best.LagS != nil {
		p.Points([]float64{lateOf(best)}, []float64{1000 * best.Failed.High}, chart.Style{Name: "recommended", Color: chart.Red, Radius: 6, Shape: chart.Ring})
	}
	p.X.Min, p.X.Max = 0, last
	p.Y.Min, p.Y.Max = p.Y.Min/1.4, p.Y.Max*1.4
	return p
}
