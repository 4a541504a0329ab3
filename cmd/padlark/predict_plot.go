package main

import (
	"fmt"
	"image/color"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"padlark/flight/predict"
)

// drawPrediction writes height over time with its spread into file.
func drawPrediction(file, format, name string, res *predict.Result) error {
	p, err := predictionPlot(name, res)
	if err != nil {
		return err
	}
	return savePlot(p, 11*vg.Centimeter, file, format)
}

func predictionPlot(name string, res *predict.Result) (*plot.Plot, error) {
	if name == "" {
		name = "this rocket"
	}
	title := fmt.Sprintf("Prediction for %s: apogee %.0f m ± %.0f m after %.2f s ± %.2f s",
		name, res.ApogeeM.Mean, res.ApogeeM.SD, res.Timer.ExpectedS, res.Timer.SpreadS)
	p := newPlot(title, "time after liftoff, s", "height above the pad, m")

	// The band is one closed outline: the upper edge forth, the lower one back.
	n := len(res.Band)
	outline, middle := make(plotter.XYs, 2*n), make(plotter.XYs, n)
	for i, b := range res.Band {
		outline[i] = plotter.XY{X: b.T, Y: b.High}
		outline[2*n-1-i] = plotter.XY{X: b.T, Y: b.Low}
		middle[i] = plotter.XY{X: b.T, Y: b.Mid}
	}
	band, err := plotter.NewPolygon(outline)
	if err != nil {
		return nil, fmt.Errorf("draw band: %w", err)
	}
	blue := color.NRGBA{R: 0x1f, G: 0x5f, B: 0xa8, A: 0xff}
	band.Color, band.LineStyle.Width = color.NRGBA{R: 0x9f, G: 0xc4, B: 0xe8, A: 0xff}, 0
	line, err := plotter.NewLine(middle)
	if err != nil {
		return nil, fmt.Errorf("draw middle: %w", err)
	}
	line.Color, line.Width = blue, vg.Points(1.5)
	top, err := plotter.NewScatter(plotter.XYs{{X: res.TimeToApogeeS.Mean, Y: res.ApogeeM.Mean}})
	if err != nil {
		return nil, fmt.Errorf("draw apogee: %w", err)
	}
	top.GlyphStyle = draw.GlyphStyle{Color: color.NRGBA{R: 0xb0, G: 0x30, B: 0x20, A: 0xff}, Radius: vg.Points(3.5), Shape: draw.CircleGlyph{}}
	p.Add(band, line, top)
	p.X.Min, p.Y.Min = 0, 0
	p.Y.Max *= 1.08
	p.Legend.Add("90 of 100 flights", band)
	p.Legend.Add("half of the flights are lower", line)
	p.Legend.Add("mean apogee", top)
	return p, nil
}
