package report

import (
	_ "embed" // for the page
	"encoding/json"
	"fmt"
	"html/template"
	"image/color"
	"math"
	"strconv"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"

	"padlark/flight/bench"
)

//go:embed checkup.html
var checkupText string

// checkupView is what the template sees.
type checkupView struct {
	*bench.Report
	Name, When, Word string
	Style            template.CSS
	Plots            []template.HTML
	Done, Open       []bench.Finding
	// More and Passed are those that only their names have room for.
	More, Passed []bench.Finding
}

// CheckupPage gives a checkup as a page that prints on one sheet (.html), or as
// JSON (.json).
func CheckupPage(r *bench.Report, ext string) ([]byte, error) {
	if ext == ".json" {
		out, err := json.MarshalIndent(r, "", "  ")
		if err != nil {
			return nil, fmt.Errorf("write checkup: %w", err)
		}
		return append(out, '\n'), nil
	}
	v := checkupView{Report: r, Name: r.Rocket, When: stamp(r.At), Word: word(r.Verdict), Style: template.CSS(styleText)}
	if v.Name == "" {
		v.Name = "a board that was not heard"
	}
	for _, f := range r.Findings {
		if f.Level == bench.NotDone {
			v.Open = append(v.Open, f)
		} else {
			v.Done = append(v.Done, f)
		}
	}
	v.fit()
	for _, d := range checkupPlots(r) {
		if d.err != nil {
			return nil, fmt.Errorf("draw checkup: %w", d.err)
		}
		svg, err := d.drawn.svg()
		if err != nil {
			return nil, err
		}
		v.Plots = append(v.Plots, template.HTML(svg))
	}
	return render("checkup", checkupText, v)
}

// Room for checks on the sheet.
const (
	checkLines  = 36 // of text, for all of them
	lineLetters = 70 // in a line
	worstShown  = 11 // checks that did not pass, where not all have room
	worstWords  = 60 // letters of what was found, and as many of the mend
)

// lines is how many lines of the page a finding takes.
func lines(f *bench.Finding) int {
	return 1 + max(len([]rune(f.Words+f.Mend))+2, 2*len([]rune(f.Limit)))/lineLetters
}

// fit keeps the checks on the sheet. Where there is no room for all, those that
// did not pass come first, cut short, and of the others only the names remain.
func (v *checkupView) fit() {
	sum := 0
	for i := range v.Done {
		sum += lines(&v.Done[i])
	}
	if sum <= checkLines {
		return
	}
	var worst []bench.Finding
	for _, level := range []bench.Level{bench.Bad, bench.Look} {
		for _, f := range v.Done {
			if f.Level == level {
				f.Words, f.Mend = short(f.Words, worstWords), short(f.Mend, worstWords)
				worst = append(worst, f)
			}
		}
	}
	for _, f := range v.Done {
		if f.Level != bench.Bad && f.Level != bench.Look {
			v.Passed = append(v.Passed, f)
		}
	}
	v.Done = worst[:min(len(worst), worstShown)]
	v.More = worst[len(v.Done):]
}

type drawnOrNot struct {
	drawn drawn
	err   error
}

// checkupPlots are the traces, and the Allan deviation where the board was left
// alone for long enough.
func checkupPlots(r *bench.Report) []drawnOrNot {
	var out []drawnOrNot
	for i := range r.Traces {
		p, err := tracePlot(&r.Traces[i], palette[i%len(palette)])
		out = append(out, drawnOrNot{drawn{plots: []*plot.Plot{p}, w: 6.3 * vg.Centimeter, h: 3.0 * vg.Centimeter}, err})
	}
	if len(r.Allan) >= 4 {
		p, err := allanPlot(r.Allan)
		out = append(out, drawnOrNot{drawn{plots: []*plot.Plot{p}, w: 6.3 * vg.Centimeter, h: 3.0 * vg.Centimeter}, err})
	}
	return out
}

func tracePlot(tr *bench.Trace, c color.Color) (*plot.Plot, error) {
	p := newPlot("s", tr.Name+", "+tr.Unit)
	small(p)
	if _, err := addLine(p, tr.T, tr.V, c, vg.Points(0.8)); err != nil {
		return nil, err
	}
	var list []mark
	for _, m := range tr.Marks {
		list = append(list, mark{m.T, m.Name})
	}
	p.Add(marks{list, true})
	if len(list) > 0 {
		p.Y.Max += 0.18 * (p.Y.Max - p.Y.Min)
	}
	return p, nil
}

// small is for plots that share a row.
func small(p *plot.Plot) {
	for _, f := range []*vg.Length{&p.X.Label.TextStyle.Font.Size, &p.Y.Label.TextStyle.Font.Size, &p.X.Tick.Label.Font.Size, &p.Y.Tick.Label.Font.Size} {
		*f = vg.Points(7)
	}
	p.X.Label.Padding, p.Y.Label.Padding = 0, 0
	p.X.Tick.Marker, p.Y.Tick.Marker = ticks{6}, ticks{4}
}

// allanPlot draws the deviation over the averaging time, both in powers of ten.
func allanPlot(points []bench.AllanPoint) (*plot.Plot, error) {
	p := newPlot("averaged over, s", "Allan deviation, m")
	small(p)
	var pts plotter.XYs
	var bars plotter.YErrors
	for _, a := range points {
		if a.Dev <= 0 {
			continue
		}
		pts = append(pts, plotter.XY{X: a.TauS, Y: a.Dev})
		bars = append(bars, struct{ Low, High float64 }{min(a.SD, 0.9*a.Dev), a.SD})
	}
	if len(pts) < 2 {
		return p, nil
	}
	p.X.Scale, p.Y.Scale = plot.LogScale{}, plot.LogScale{}
	p.X.Tick.Marker, p.Y.Tick.Marker = decades{}, decades{}
	l, s, err := plotter.NewLinePoints(pts)
	if err != nil {
		return nil, err
	}
	l.Color, s.Color, s.Radius = palette[0], palette[0], vg.Points(1.8)
	e, err := plotter.NewYErrorBars(struct {
		plotter.XYs
		plotter.YErrors
	}{pts, bars})
	if err != nil {
		return nil, err
	}
	e.Color = palette[0]
	p.Add(l, s, e)
	return p, nil
}

// decades labels powers of ten, and 2 and 5 times those where there is room.
type decades struct{}

// Ticks implements plot.Ticker.
func (decades) Ticks(lo, hi float64) []plot.Tick {
	var out []plot.Tick
	steps := []float64{1, 2, 5}
	if hi/lo > 50 {
		steps = steps[:1]
	}
	for e := math.Floor(math.Log10(lo)); e <= math.Ceil(math.Log10(hi)); e++ {
		for _, m := range steps {
			v := m * math.Pow(10, e)
			if v >= lo*(1-1e-9) && v <= hi*(1+1e-9) {
				out = append(out, plot.Tick{Value: v, Label: strconv.FormatFloat(v, 'g', 4, 64)})
			}
		}
	}
	return out
}
