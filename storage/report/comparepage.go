package report

import (
	_ "embed" // for the page
	"encoding/json"
	"fmt"
	"html/template"
	"strings"

	"padlark/flight/phrase"
	"padlark/storage/report/chart"
)

//go:embed compare.html
var compareText string

// jsonPage writes any page as JSON.
func jsonPage(v any) ([]byte, error) {
	out, err := json.MarshalIndent(v, "", "  ")
	if err != nil {
		return nil, fmt.Errorf("write page: %w", err)
	}
	return append(out, '\n'), nil
}

type compareView struct {
	*Comparison
	Style template.CSS
	Plot  template.HTML
	Rows  []compareRow
}

// compareRow is one flight in the table, its numbers as text.
type compareRow struct {
	Name, Fill, Pressure, Mass string
	Group                      int
	Cells                      []string
	Verdict                    string
}

// rows are the flights as text, in the order of the comparison.
func (c *Comparison) rows() []compareRow {
	var out []compareRow
	for i := range c.Flights {
		f := &c.Flights[i]
		row := compareRow{
			Name: c.label(f), Group: f.Group, Verdict: f.Result.Said(c.To),
			Fill: typed(f.Typed.FillMl, "%.0f"), Pressure: typed(f.Typed.PressureBar, "%.2f"), Mass: typed(f.Typed.MassG, "%.0f"),
		}
		for _, q := range quantities {
			text := "–"
			if v, sd := q.of(&f.Result); v != nil {
				text = strings.TrimSuffix(plusMinus(c.To, *v, sd, q.unit), " "+c.unit(q.unit))
			}
			row.Cells = append(row.Cells, text)
		}
		out = append(out, row)
	}
	return out
}

// unit is what a quantity is shown in.
func (c *Comparison) unit(si string) string {
	unit, _ := c.To.Unit(si)
	return unit
}

func typed(v *float64, format string) string {
	if v == nil {
		return "–"
	}
	return fmt.Sprintf(format, *v)
}

// Text of a spread: mean ± spread.
func (s Spread) Text(to phrase.Reader, unit string) string {
	if s.Mean == nil {
		return "–"
	}
	return plusMinus(to, *s.Mean, s.SD, unit)
}

// Text of a contrast: difference ± its standard error.
func (c Contrast) Text(to phrase.Reader, unit string) string {
	if c.Difference == nil {
		return "–"
	}
	s := plusMinus(to, *c.Difference, c.SE, unit)
	if *c.Difference > 0 {
		s = "+" + s
	}
	return s
}

func (c *Comparison) html() ([]byte, error) {
	svg := c.plot(18.6*chart.CM, 9*chart.CM).SVG()
	return render("comparison", compareText, c.To, compareView{c, style(), template.HTML(svg), c.rows()})
}
