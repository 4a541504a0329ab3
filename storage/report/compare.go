package report

import (
	"context"
	"fmt"
	"math"
	"slices"

	"padlark/flight"
	"padlark/flight/phrase"
	"padlark/storage/report/chart"
)

// Comparison lays flights over each other, in one or two groups.
type Comparison struct {
	Flights []Compared `json:"flights"`
	Groups  []Group    `json:"groups"`
	// Contrasts are the second group less the first, by quantity; empty for one
	// group.
	Contrasts []NamedContrast `json:"contrasts"`
	Tests     string          `json:"tests"`
	MadeBy    string          `json:"made_by"`
	To        phrase.Reader   `json:"-"` // whom it is written for
}

// Compared is one flight of a comparison.
type Compared struct {
	Flight string        `json:"flight"`
	Short  string        `json:"short"`
	Group  int           `json:"group"` // 1 or 2
	Typed  Typed         `json:"typed"`
	Result flight.Result `json:"result"`
	Series Series        `json:"series"`
}

// Group is one group with its spreads.
type Group struct {
	Name       string        `json:"name"`
	Quantities []NamedSpread `json:"quantities"`
}

// NamedSpread is the spread of one quantity.
type NamedSpread struct {
	Name string `json:"name"`
	Unit string `json:"unit"`
	Spread
}

// NamedContrast is the difference in one quantity.
type NamedContrast struct {
	Name string `json:"name"`
	Unit string `json:"unit"`
	Contrast
}

// quantity is something that flights are compared in.
type quantity struct {
	name, unit string
	of         func(*flight.Result) (v, sd *float64)
}

var quantities = []quantity{
	{"apogee", "m", func(r *flight.Result) (*float64, *float64) { return r.ApogeeM, r.ApogeeSD }},
	{"time to apogee", "s", func(r *flight.Result) (*float64, *float64) { return r.TimeToApogeeS, r.TimeToApogeeSD }},
	{"greatest speed", "m/s", func(r *flight.Result) (*float64, *float64) { return r.MaxSpeedMps, r.MaxSpeedSD }},
	{"release lag", "s", func(r *flight.Result) (*float64, *float64) { return r.ReleaseLagS, r.ReleaseLagSD }},
	{"sink rate", "m/s", func(r *flight.Result) (*float64, *float64) { return r.DescentMps, r.DescentSD }},
}

// Compare works out flights and how they differ; second may be empty.
func (r *Reporter) Compare(ctx context.Context, first, second []Ref) (Comparison, error) {
	c := Comparison{Contrasts: []NamedContrast{}, MadeBy: r.MadeBy, To: r.To}
	for g, refs := range [][]Ref{first, second} {
		for _, ref := range refs {
			f, err := r.compared(ctx, ref, g+1)
			if err != nil {
				return c, fmt.Errorf("compare %s: %w", ref, err)
			}
			c.Flights = append(c.Flights, f)
		}
	}
	one := c.values(1)
	c.Groups = append(c.Groups, newGroup("first", one))
	c.Tests = "± is one standard deviation; p below 0.05 is called larger than chance. Spread within a group: chi-squared test of homogeneity against the flights' own ±; that holds parts which flights of one day share, such as the temperature, so the test is a cautious one."
	if len(second) == 0 {
		return c, nil
	}
	two := c.values(2)
	c.Groups = append(c.Groups, newGroup("second", two))
	c.Tests += " Difference of the groups: Welch's t-test, two-sided, one test for each quantity: of twenty such tests one shows a difference by chance."
	for i, q := range quantities {
		c.Contrasts = append(c.Contrasts, NamedContrast{q.name, q.unit, contrast(one[i], two[i])})
	}
	return c, nil
}

func (r *Reporter) compared(ctx context.Context, ref Ref, group int) (Compared, error) {
	g, err := r.gather(ctx, ref)
	if err != nil {
		return Compared{}, err
	}
	notes, err := r.notes(ctx, ref)
	if err != nil {
		return Compared{}, err
	}
	return Compared{
		Flight: ref.String(), Short: ref.Short(), Group: group, Typed: ReadTyped(notes),
		Result: g.flight.Result, Series: newSeries(&g.flight.Series, g.zero),
	}, nil
}

// values are a group's numbers by quantity.
func (c *Comparison) values(group int) [][]value {
	out := make([][]value, len(quantities))
	for i := range c.Flights {
		if c.Flights[i].Group != group {
			continue
		}
		for k, q := range quantities {
			if v, sd := q.of(&c.Flights[i].Result); v != nil {
				out[k] = append(out[k], value{*v, sd})
			}
		}
	}
	return out
}

func newGroup(name string, values [][]value) Group {
	g := Group{Name: name}
	for i, q := range quantities {
		g.Quantities = append(g.Quantities, NamedSpread{q.name, q.unit, spreadOf(values[i])})
	}
	return g
}

// plot lays the heights over each other, aligned at liftoff.
func (c *Comparison) plot(w, h float64) chart.Sheet {
	unit, per := c.To.Unit("m")
	p := chart.New("time after liftoff, s", "height above the pad, "+unit)
	end := 0.0
	for i := range c.Flights {
		f := &c.Flights[i]
		from, to := 0, len(f.Series.T)
		last := math.Inf(1)
		if f.Result.DurationS != nil {
			last = *f.Result.DurationS + 2
		}
		for from < to && f.Series.T[from] < -1 {
			from++
		}
		for to > from && f.Series.T[to-1] > last {
			to--
		}
		if to-from < 2 {
			continue
		}
		end = max(end, f.Series.T[to-1])
		style := chart.Style{Name: c.label(f), Color: chart.Palette[i%len(chart.Palette)], Width: 1.2}
		if i >= len(chart.Palette) {
			style.Dashes = []float64{6, 3}
		}
		if f.Group == 2 {
			style.Dashes = []float64{4, 2}
		}
		heights := make([]float64, to-from)
		for k := range heights {
			heights[k] = f.Series.Height[from+k] / per
		}
		p.Line(f.Series.T[from:to], heights, style)
	}
	if end == 0 {
		p.Title = "too few readings to draw"
	}
	return chart.Sheet{Plots: []*chart.Plot{p}, W: w, H: h}
}

// label names a flight, with its session where two of a name are compared.
func (c *Comparison) label(f *Compared) string {
	same := slices.IndexFunc(c.Flights, func(o Compared) bool { return o.Short == f.Short && o.Flight != f.Flight })
	if same >= 0 {
		return f.Flight
	}
	return f.Short
}

// Write gives the comparison in the form that a file's ending asks for.
func (c *Comparison) Write(ext string) ([]byte, error) {
	switch ext {
	case ".html":
		return c.html()
	case ".json":
		return jsonPage(c)
	}
	d := c.plot(18.6*chart.CM, 11*chart.CM)
	if ext == ".svg" {
		return d.SVGFile(), nil
	}
	return d.PNG()
}
