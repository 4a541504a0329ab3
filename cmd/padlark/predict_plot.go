package main

import (
	"fmt"
	"image/color"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"padlark/flight/predict"
)

// plotFormat is the format that a file's name asks for, "" for no file.
func plotFormat(file string) (string, error) {
	switch ext := strings.ToLower(filepath.Ext(file)); {
	case file == "":
		return "", nil
	case ext == ".svg" || ext == ".png":
		return ext[1:], nil
	}
	return "", fmt.Errorf("--plot %s: give a file name that ends in .svg or .png", file)
}

// drawPrediction writes height over time with its spread into file.
func drawPrediction(file, format, name string, res *predict.Result) error {
	p, err := predictionPlot(name, res)
	if err != nil {
		return err
	}
	wt, err := p.WriterTo(18*vg.Centimeter, 11*vg.Centimeter, format)
	if err != nil {
		return err
	}
	f, err := os.Create(file)
	if err != nil {
		return err
	}
	if _, err := wt.WriteTo(f); err != nil {
		f.Close()
		return fmt.Errorf("write %s: %w", file, err)
	}
	return f.Close()
}

// evenTicks labels about eight values at steps of 1, 2 or 5 times a power of ten.
type evenTicks struct{}

// Ticks implements plot.Ticker.
func (evenTicks) Ticks(lo, hi float64) []plot.Tick {
	step := math.Pow(10, math.Floor(math.Log10((hi-lo)/8)))
	for _, m := range []float64{1, 2, 5, 10} {
		if (hi-lo)/(m*step) <= 9 {
			step *= m
			break
		}
	}
	var ticks []plot.Tick
	for i := math.Ceil(lo/step-1e-9) + 0; i*step <= hi*(1+1e-9); i++ {
		ticks = append(ticks, plot.Tick{Value: i * step, Label: strconv.FormatFloat(i*step, 'g', 6, 64)})
	}
	return ticks
}

func predictionPlot(name string, res *predict.Result) (*plot.Plot, error) {
	p := plot.New()
	if name == "" {
		name = "this rocket"
	}
	p.Title.Text = fmt.Sprintf("Prediction for %s: apogee %.0f m ± %.0f m after %.2f s ± %.2f s",
		name, res.ApogeeM.Mean, res.ApogeeM.SD, res.Timer.ExpectedS, res.Timer.SpreadS)
	p.X.Label.Text = "time after liftoff, s"
	p.Y.Label.Text = "height above the pad, m"
	p.Title.Padding = vg.Points(8)
	p.X.Label.Padding, p.Y.Label.Padding = vg.Points(4), vg.Points(4)
	p.X.Tick.Marker, p.Y.Tick.Marker = evenTicks{}, evenTicks{}

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
	grid := plotter.NewGrid()
	grid.Vertical.Color, grid.Horizontal.Color = color.Gray{Y: 0xd8}, color.Gray{Y: 0xd8}
	p.Add(grid, band, line, top)
	p.X.Min, p.Y.Min = 0, 0
	p.Y.Max *= 1.08
	p.Legend.Top, p.Legend.Padding = true, vg.Points(3)
	p.Legend.XOffs, p.Legend.YOffs = -vg.Points(6), -vg.Points(4)
	p.Legend.Add("90 of 100 flights", band)
	p.Legend.Add("half of the flights are lower", line)
	p.Legend.Add("mean apogee", top)
	return p, nil
}
