package main

import (
	"fmt"
	"image/color"
	"math"
	"strconv"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"padlark/flight/tune"
)

// drawTradeOff writes the plot of risk against lag into file.
func drawTradeOff(file, format string, r *tuneResult) error {
	p, err := tradeOffPlot(r)
	if err != nil {
		return err
	}
	return savePlot(p, 12*vg.Centimeter, file, format)
}

// decadeTicks labels 1, 2 and 5 times each power of ten on an axis of decimal
// logarithms. The plot's own logarithmic scale is not used: it makes room for
// the axis label in the wrong place.
type decadeTicks struct{}

// Ticks implements plot.Ticker.
func (decadeTicks) Ticks(lo, hi float64) []plot.Tick {
	var out []plot.Tick
	for e := math.Floor(lo); e <= math.Ceil(hi); e++ {
		for m := 1.0; m < 10; m++ {
			t := plot.Tick{Value: e + math.Log10(m)}
			if t.Value < lo || t.Value > hi {
				continue
			}
			if m == 1 || m == 2 || m == 5 {
				t.Label = strconv.FormatFloat(m*math.Pow(10, e), 'g', 3, 64)
			}
			out = append(out, t)
		}
	}
	return out
}

// glyphOf is how a family is drawn: colour and shape, so that either is enough.
func glyphOf(f tune.Family) draw.GlyphStyle {
	g := draw.GlyphStyle{Radius: vg.Points(2.6)}
	switch f {
	case tune.Drop:
		g.Color, g.Shape = color.NRGBA{R: 0x1f, G: 0x5f, B: 0xa8, A: 0xff}, draw.CircleGlyph{}
	case tune.Slope:
		g.Color, g.Shape = color.NRGBA{R: 0xb8, G: 0x6a, B: 0x00, A: 0xff}, draw.SquareGlyph{}
	default:
		g.Color, g.Shape = color.NRGBA{R: 0x2f, G: 0x7d, B: 0x32, A: 0xff}, draw.TriangleGlyph{}
	}
	return g
}

// tradeOffPlot has the lag across and the risk up, so that good is down left.
func tradeOffPlot(r *tuneResult) (*plot.Plot, error) {
	best := &r.Stats[r.Best[0].Index]
	p := newPlot("Recommended: "+best.Settings.String(), "released this long after apogee, in 95 of 100 flights, s",
		"failures in 1000 flights, at most (95 % sure)")
	p.Y.Tick.Marker = decadeTicks{}

	last := lateOf(best)
	for _, i := range tune.Front(r.Stats) {
		last = math.Max(last, lateOf(&r.Stats[i]))
	}
	last = math.Max(1.6*last, 1)
	for _, f := range tune.Families() {
		var pts plotter.XYs
		for i := range r.Stats {
			if s := &r.Stats[i]; s.Settings.Family == f && lateOf(s) > 0 && lateOf(s) <= last {
				pts = append(pts, plotter.XY{X: lateOf(s), Y: math.Log10(1000 * s.Failed.High)})
			}
		}
		if len(pts) == 0 {
			continue
		}
		dots, err := plotter.NewScatter(pts)
		if err != nil {
			return nil, fmt.Errorf("draw %v: %w", f, err)
		}
		dots.GlyphStyle = glyphOf(f)
		p.Add(dots)
		p.Legend.Add(f.String(), dots)
	}
	if err := addChoice(p, best, r.LimitPer1000, last); err != nil {
		return nil, err
	}
	p.X.Min, p.X.Max = 0, last
	// No point may lie outside: the plot would make room for it.
	p.Y.Min, p.Y.Max = p.Y.Min-0.15, p.Y.Max+0.15
	return p, nil
}

// addChoice draws the limit and a ring around the recommended setting.
func addChoice(p *plot.Plot, best *tune.Stats, limit, last float64) error {
	red := color.NRGBA{R: 0xb0, G: 0x30, B: 0x20, A: 0xff}
	line, err := plotter.NewLine(plotter.XYs{{X: 0, Y: math.Log10(limit)}, {X: last, Y: math.Log10(limit)}})
	if err != nil {
		return fmt.Errorf("draw limit: %w", err)
	}
	line.Color, line.Width, line.Dashes = red, vg.Points(1), []vg.Length{vg.Points(5), vg.Points(3)}
	p.Add(line)
	p.Legend.Add("limit", line)
	if best.LagS == nil {
		return nil
	}
	ring, err := plotter.NewScatter(plotter.XYs{{X: lateOf(best), Y: math.Log10(1000 * best.Failed.High)}})
	if err != nil {
		return fmt.Errorf("draw choice: %w", err)
	}
	ring.GlyphStyle = draw.GlyphStyle{Color: red, Radius: vg.Points(6), Shape: draw.RingGlyph{}}
	p.Add(ring)
	p.Legend.Add("recommended", ring)
	return nil
}
