package chart_test

import (
	"bytes"
	"fmt"

	"padlark/storage/report/chart"
)

// A plot as a picture for a page; the names of its axes are text in it.
func ExampleSheet_SVG() {
	plot := chart.New("time in s", "height in m")
	plot.Line([]float64{0, 1, 2}, []float64{0, 25, 40}, chart.Style{Color: chart.Palette[0]})
	svg := chart.Sheet{Plots: []*chart.Plot{plot}, W: 12 * chart.CM, H: 8 * chart.CM}.SVG()
	fmt.Println(bytes.HasPrefix(svg, []byte("<svg")), bytes.Contains(svg, []byte("height in m")))
	// Output: true true
}
