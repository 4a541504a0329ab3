package report

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"

	"padlark/flight/predict"
	"padlark/flight/tune"
	"padlark/storage/report/chart"
)

// CheckPlot says whether a plot can be written into a file of this name; none
// is none.
func CheckPlot(file string) error {
	switch strings.ToLower(filepath.Ext(file)) {
	case ".svg", ".png":
		return nil
	}
	if file == "" {
		return nil
	}
	return fmt.Errorf("--plot %s: give a file name that ends in .svg or .png", file)
}

// writePlot writes a plot into file, 18 cm wide and so high, in points.
func writePlot(p *chart.Plot, high float64, file string) error {
	s := chart.Sheet{Plots: []*chart.Plot{p}, W: 18 * chart.CM, H: high}
	out, err := s.SVGFile(), error(nil)
	if strings.EqualFold(filepath.Ext(file), ".png") {
		out, err = s.PNG()
	}
	if err != nil {
		return err
	}
	return os.WriteFile(file, out, 0o644)
}

// DrawTradeOff writes the plot of risk against lag of release rules into file,
// nothing if that is "".
func DrawTradeOff(file string, r *tune.Report) error {
	if file == "" {
		return nil
	}
	if err := writePlot(tradeOffPlot(r), 12*chart.CM, file); err != nil {
		return fmt.Errorf("draw trade-off: %w", err)
	}
	return nil
}

// DrawPrediction writes the plot of predicted heights of a rocket into file,
// nothing if that is "".
func DrawPrediction(file, name string, res *predict.Result) error {
	if file == "" {
		return nil
	}
	if err := writePlot(predictionPlot(name, res), 11*chart.CM, file); err != nil {
		return fmt.Errorf("draw prediction: %w", err)
	}
	return nil
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
func tradeOffPlot(r *tune.Report) *chart.Plot {
	best := &r.Stats[r.Best[0].Index]
	p := chart.New("released this long after apogee, in 95 of 100 flights, s", "failures in 1000 flights, at most (95 % sure)")
	p.Title = "Recommended: " + best.Settings.String()
	p.Y.Log = true

	last := best.LateS()
	for _, i := range tune.Front(r.Stats) {
		last = math.Max(last, r.Stats[i].LateS())
	}
	last = math.Max(1.6*last, 1)
	for _, f := range tune.Families() {
		var x, y []float64
		for i := range r.Stats {
			if s := &r.Stats[i]; s.Settings.Family == f && s.LateS() > 0 && s.LateS() <= last {
				x, y = append(x, s.LateS()), append(y, 1000*s.Failed.High)
			}
		}
		if len(x) > 0 {
			p.Points(x, y, styleOf(f))
		}
	}
	limit := r.LimitPer1000
	p.Line([]float64{0, last}, []float64{limit, limit}, chart.Style{Name: "limit", Color: chart.Red, Width: 1, Dashes: []float64{5, 3}})
	if best.LagS != nil {
		p.Points([]float64{best.LateS()}, []float64{1000 * best.Failed.High}, chart.Style{Name: "recommended", Color: chart.Red, Radius: 6, Shape: chart.Ring})
	}
	p.X.Min, p.X.Max = 0, last
	p.Y.Min, p.Y.Max = p.Y.Min/1.4, p.Y.Max*1.4
	return p
}
