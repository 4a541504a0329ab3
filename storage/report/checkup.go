package report

import (
	_ "embed" // for the page
	"encoding/json"
	"fmt"
	"html/template"
	"image/color"

	"padlark/flight/bench"
	"padlark/flight/phrase"
	"padlark/storage/report/chart"
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
	v := checkupView{Report: r, Name: r.Rocket, When: stamp(r.At), Word: string(r.Level), Style: style()}
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
	for _, p := range checkupPlots(r) {
		svg := chart.Sheet{Plots: []*chart.Plot{p}, W: 6.3 * chart.CM, H: 3.0 * chart.CM}.SVG()
		v.Plots = append(v.Plots, template.HTML(svg))
	}
	return render("checkup", checkupText, phrase.Reader{}, v)
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

// checkupPlots are the traces, and the Allan deviation where the board was left
// alone for long enough.
func checkupPlots(r *bench.Report) []*chart.Plot {
	var out []*chart.Plot
	for i := range r.Traces {
		out = append(out, tracePlot(&r.Traces[i], chart.Palette[i%len(chart.Palette)]))
	}
	if len(r.Allan) >= 4 {
		out = append(out, allanPlot(r.Allan))
	}
	return out
}

func tracePlot(tr *bench.Trace, c color.NRGBA) *chart.Plot {
	p := chart.Small("s", tr.Name+", "+tr.Unit)
	p.Line(tr.T, tr.V, chart.Style{Color: c, Width: 0.8})
	for _, m := range tr.Marks {
		p.Marks = append(p.Marks, chart.Mark{At: m.T, Name: m.Name})
	}
	if len(p.Marks) > 0 {
		p.Y.Max += 0.18 * (p.Y.Max - p.Y.Min)
	}
	return p
}

// allanPlot draws the deviation over the averaging time, both in powers of ten.
func allanPlot(points []bench.AllanPoint) *chart.Plot {
	p := chart.Small("averaged over, s", "Allan deviation, m")
	p.X.Log, p.Y.Log = true, true
	var tau, dev, low, high []float64
	for _, a := range points {
		tau, dev = append(tau, a.TauS), append(dev, a.Dev)
		low, high = append(low, a.Dev-min(a.SD, 0.9*a.Dev)), append(high, a.Dev+a.SD)
	}
	blue := chart.Palette[0]
	p.Line(tau, dev, chart.Style{Color: blue, Width: 1})
	p.Points(tau, dev, chart.Style{Color: blue, Radius: 1.8})
	p.Bars(tau, low, high, chart.Style{Color: blue, Width: 0.5})
	return p
}
