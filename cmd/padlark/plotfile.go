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

// savePlot writes a plot into file, 18 cm wide.
func savePlot(p *plot.Plot, high vg.Length, file, format string) error {
	wt, err := p.WriterTo(18*vg.Centimeter, high, format)
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

// newPlot is a plot with a grid and room for its words.
func newPlot(title, x, y string) *plot.Plot {
	p := plot.New()
	p.Title.Text, p.X.Label.Text, p.Y.Label.Text = title, x, y
	p.Title.Padding = vg.Points(8)
	p.X.Label.Padding, p.Y.Label.Padding = vg.Points(4), vg.Points(4)
	p.X.Tick.Marker, p.Y.Tick.Marker = evenTicks{}, evenTicks{}
	grid := plotter.NewGrid()
	grid.Vertical.Color, grid.Horizontal.Color = color.Gray{Y: 0xd8}, color.Gray{Y: 0xd8}
	p.Add(grid)
	p.Legend.Top, p.Legend.Padding = true, vg.Points(3)
	p.Legend.XOffs, p.Legend.YOffs = -vg.Points(6), -vg.Points(4)
	return p
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
