package chart

import (
	"image/color"
	"math"
)

// CM is a centimetre in points.
const CM = 72 / 2.54

// Axis is one axis. What is drawn widens it from Min to Max; these may be set
// afterwards.
type Axis struct {
	Label    string
	Min, Max float64
	Log      bool // logarithmic; only values over 0 are drawn then
	Most     int  // how many values are labelled at most
}

// Shape is how a point is drawn.
type Shape int

// Shapes.
const (
	Disc Shape = iota
	Square
	Triangle
	Ring
)

// Style is how something is drawn. Name, if not empty, is its line in the legend.
type Style struct {
	Name   string
	Color  color.NRGBA
	Width  float64   // of a line
	Dashes []float64 // of a line: drawn, left out, drawn, ...
	Radius float64   // of points
	Shape  Shape
}

// Mark is a moment that is drawn as a line from bottom to top, with its name
// beside it if it has one.
type Mark struct {
	At   float64
	Name string
}

// Plot is what is drawn in one frame.
type Plot struct {
	Title string
	X, Y  Axis
	Marks []Mark
	// Size is that of the letters.
	Size float64
	// LegendDown moves the legend down from the upper edge.
	LegendDown float64

	items []item
}

// item is one thing that is drawn: an area if it is filled, else lines or points.
type item struct {
	style Style
	kind  itemKind
	lines [][]point // in values of the axes
}

type itemKind int

const (
	lines itemKind = iota
	points
	area
)

type point struct{ x, y float64 }

// New is an empty plot.
func New(x, y string) *Plot {
	inf := math.Inf(1)
	return &Plot{
		X: Axis{Label: x, Min: inf, Max: -inf, Most: 9}, Y: Axis{Label: y, Min: inf, Max: -inf, Most: 6},
		Size: 8.5,
	}
}

// Small is New for plots that share a row.
func Small(x, y string) *Plot {
	p := New(x, y)
	p.Size, p.X.Most, p.Y.Most = 7, 6, 4
	return p
}

// Line draws a line through points; where a value is none it is interrupted.
func (p *Plot) Line(x, y []float64, s Style) { p.add(s, lines, p.runs(x, y)) }

// Points draws points.
func (p *Plot) Points(x, y []float64, s Style) { p.add(s, points, p.runs(x, y)) }

// Band fills what is between two lines.
func (p *Plot) Band(x, low, high []float64, s Style) {
	var outline []point
	for i := range x {
		if p.drawable(x[i], low[i]) && p.drawable(x[i], high[i]) {
			outline = append(outline, point{x[i], high[i]})
		}
	}
	for i := len(x) - 1; i >= 0; i-- {
		if p.drawable(x[i], low[i]) && p.drawable(x[i], high[i]) {
			outline = append(outline, point{x[i], low[i]})
		}
	}
	p.add(s, area, [][]point{outline})
}

// Bars draws a line upright at each x.
func (p *Plot) Bars(x, low, high []float64, s Style) {
	var all [][]point
	for i := range x {
		if p.drawable(x[i], low[i]) && p.drawable(x[i], high[i]) {
			all = append(all, []point{{x[i], low[i]}, {x[i], high[i]}})
		}
	}
	p.add(s, lines, all)
}

func (p *Plot) drawable(x, y float64) bool {
	fits := func(v float64, a *Axis) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) && (!a.Log || v > 0) }
	return fits(x, &p.X) && fits(y, &p.Y)
}

// runs are the stretches of points that can be drawn.
func (p *Plot) runs(x, y []float64) [][]point {
	out := [][]point{nil}
	for i := range x {
		last := &out[len(out)-1]
		if p.drawable(x[i], y[i]) {
			*last = append(*last, point{x[i], y[i]})
		} else if len(*last) > 0 {
			out = append(out, nil)
		}
	}
	return out
}

func (p *Plot) add(s Style, kind itemKind, all [][]point) {
	for _, run := range all {
		for _, k := range run {
			p.X.Min, p.X.Max = min(p.X.Min, k.x), max(p.X.Max, k.x)
			p.Y.Min, p.Y.Max = min(p.Y.Min, k.y), max(p.Y.Max, k.y)
		}
	}
	p.items = append(p.items, item{s, kind, all})
}
