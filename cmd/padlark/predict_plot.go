package main

import (
	"fmt"

	"padlark/flight/predict"
	"padlark/storage/report/chart"
)

// drawPrediction writes height over time with its spread into file.
func drawPrediction(file, format, name string, res *predict.Result) error {
	return savePlot(predictionPlot(name, res), 11*chart.CM, file, format)
}

func predictionPlot(name string, res *predict.Result) *chart.Plot {
	if name == "" {
		name = "this rocket"
	}
	p := chart.New("time after liftoff, s", "height above the pad, m")
	p.Title = fmt.Sprintf("Prediction for %s: apogee %.0f m ± %.0f m after %.2f s ± %.2f s",
		name, res.ApogeeM.Mean, res.ApogeeM.SD, res.Timer.ExpectedS, res.Timer.SpreadS)
	var t, low, middle, high []float64
	for _, b := range res.Band {
		t, low, middle, high = append(t, b.T), append(low, b.Low), append(middle, b.Mid), append(high, b.High)
	}
	p.Band(t, low, high, chart.Style{Name: "90 of 100 flights", Color: chart.BlueBand})
	p.Line(t, middle, chart.Style{Name: "half of the flights are lower", Color: chart.Palette[0], Width: 1.5})
	p.Points([]float64{res.TimeToApogeeS.Mean}, []float64{res.ApogeeM.Mean}, chart.Style{Name: "mean apogee", Color: chart.Red, Radius: 3.5})
	p.X.Min, p.Y.Min = 0, 0
	p.Y.Max *= 1.08
	return p
}
