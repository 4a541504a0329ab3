package web

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"padlark/flight"
)

// The picture's size in its own units, and where the plot stands in it.
const (
	svgW, svgH               = 720.0, 300.0
	svgL, svgR, svgT, svgB   = 52.0, 14.0, 16.0, 34.0
	svgInk, svgSoft, svgBand = "#0b1f24", "#5a6b70", "#c9dfe4"
	svgColumns               = 700
)

// flightSVG draws height against time with its ± band, the expected course and
// the events, as one SVG element without style attributes (the pages' policy
// forbids those). It prints on paper in black.
func flightSVG(res flight.Result, course, expected *Course, units reader) string {
	p := svgPlot{units: units}
	course, expected = inFlight(res, course), inFlight(res, expected)
	p.fit(course, expected)
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %g %g" role="img" font-family="sans-serif" font-size="12">`, svgW, svgH)
	fmt.Fprintf(&b, `<title>%s, flight %d: height above the pad in %s against time since liftoff in s</title>`, escape(res.Rocket), res.Flight, units.unitOf("height"))
	fmt.Fprintf(&b, `<rect width="%g" height="%g" fill="#ffffff"/>`, svgW, svgH)
	if course == nil || len(course.T) == 0 {
		fmt.Fprintf(&b, `<text x="%g" y="%g" fill="%s">No course could be computed for this flight.</text></svg>`, svgL, svgH/2, svgInk)
		return b.String()
	}
	p.band(&b, course)
	p.axes(&b)
	if expected != nil {
		p.line(&b, expected.T, expected.HeightM, svgSoft, `stroke-dasharray="6 5"`)
	}
	p.line(&b, course.T, course.HeightM, svgInk, "")
	p.marks(&b, res)
	b.WriteString(`</svg>`)
	return b.String()
}

// inFlight is the part of a course that belongs to the flight, with a little of
// the pad before and of the ground after it.
func inFlight(res flight.Result, c *Course) *Course {
	if c == nil || res.DurationS == nil {
		return c
	}
	margin := max(1, 0.06**res.DurationS)
	from := sort.SearchFloat64s(c.T, -margin)
	to := sort.SearchFloat64s(c.T, *res.DurationS+margin)
	cut := func(v []float64) []float64 {
		if len(v) != len(c.T) {
			return nil
		}
		return v[from:to]
	}
	return &Course{T: cut(c.T), HeightM: cut(c.HeightM), HeightSD: cut(c.HeightSD)}
}

// svgPlot maps s and m to the picture; its axis is written in units.
type svgPlot struct {
	t0, t1, h0, h1 float64
	units          reader
}

func (p *svgPlot) fit(courses ...*Course) {
	p.t1, p.h1 = 1, 1
	for _, c := range courses {
		if c == nil {
			continue
		}
		for i, t := range c.T {
			p.t0, p.t1 = min(p.t0, t), max(p.t1, t)
			if i < len(c.HeightM) && !math.IsNaN(c.HeightM[i]) {
				p.h0, p.h1 = min(p.h0, c.HeightM[i]), max(p.h1, c.HeightM[i])
			}
		}
	}
	p.h1 += 0.2 * (p.h1 - p.h0) // room for three rows of labels
}

func (p *svgPlot) x(t float64) float64 { return svgL + (svgW-svgL-svgR)*(t-p.t0)/(p.t1-p.t0) }
func (p *svgPlot) y(h float64) float64 { return svgH - svgB - (svgH-svgT-svgB)*(h-p.h0)/(p.h1-p.h0) }

func (p *svgPlot) axes(b *strings.Builder) {
	unit, one := p.units.unitOf("height"), p.units.convert("height", 1)
	for _, tick := range niceTicks(p.h0*one, p.h1*one, 6) {
		h := tick / one
		fmt.Fprintf(b, `<line x1="%.1f" x2="%.1f" y1="%.1f" y2="%.1f" stroke="#d5dcde"/>`, svgL, svgW-svgR, p.y(h), p.y(h))
		fmt.Fprintf(b, `<text x="%.1f" y="%.1f" text-anchor="end" fill="%s">%s %s</text>`, svgL-6, p.y(h)+4, svgInk, trimMinus(fmt.Sprintf("%g", tick)), unit)
	}
	for _, t := range niceTicks(p.t0, p.t1, 9) {
		fmt.Fprintf(b, `<text x="%.1f" y="%.1f" text-anchor="middle" fill="%s">%s s</text>`, p.x(t), svgH-svgB+18, svgInk, trimMinus(fmt.Sprintf("%g", t)))
	}
}

// niceTicks are round values in a range, about n of them: 1, 2 or 5 times a
// power of ten apart (common practice, no source).
func niceTicks(lo, hi float64, n int) []float64 {
	if !(hi > lo) || n < 1 {
		return nil
	}
	raw := (hi - lo) / float64(n)
	step := math.Pow(10, math.Floor(math.Log10(raw)))
	for _, m := range []float64{1, 2, 5, 10} {
		if step*m >= raw {
			step *= m
			break
		}
	}
	var out []float64
	for k := math.Ceil(lo/step - 1e-9); k*step <= hi*(1+1e-12); k++ {
		out = append(out, math.Round(k*step*1e9)/1e9+0) // + 0 makes a negative zero positive
	}
	return out
}

func (p *svgPlot) line(b *strings.Builder, t, h []float64, colour, extra string) {
	s := reduce(series{t, h[:min(len(h), len(t))]}, svgColumns)
	fmt.Fprintf(b, `<path fill="none" stroke="%s" stroke-width="1.6" %s d="`, colour, extra)
	down := false
	for i := range s.v {
		if math.IsNaN(s.v[i]) {
			down = false
			continue
		}
		c := 'M'
		if down {
			c = 'L'
		}
		fmt.Fprintf(b, "%c%.1f %.1f", c, p.x(s.t[i]), p.y(s.v[i]))
		down = true
	}
	b.WriteString(`"/>`)
}

// band is ± one standard deviation about the height.
func (p *svgPlot) band(b *strings.Builder, c *Course) {
	if len(c.HeightSD) != len(c.T) || len(c.HeightM) != len(c.T) {
		return
	}
	var upper, lower []string
	for i := 0; i < len(c.T); i += max(1, len(c.T)/svgColumns) {
		if math.IsNaN(c.HeightM[i] + c.HeightSD[i]) {
			continue
		}
		upper = append(upper, fmt.Sprintf("%.1f %.1f", p.x(c.T[i]), p.y(c.HeightM[i]+c.HeightSD[i])))
		lower = append(lower, fmt.Sprintf("%.1f %.1f", p.x(c.T[i]), p.y(c.HeightM[i]-c.HeightSD[i])))
	}
	if len(upper) < 2 {
		return
	}
	for i, k := 0, len(lower)-1; i < k; i, k = i+1, k-1 {
		lower[i], lower[k] = lower[k], lower[i]
	}
	fmt.Fprintf(b, `<path fill="%s" stroke="%s" stroke-width="0.7" d="M%sL%sZ"/>`, svgBand, svgSoft, strings.Join(upper, "L"), strings.Join(lower, "L"))
}

// marks are the events that the result knows. A label stands right of its line,
// in the first row that is free there, with a rim of paper about it.
func (p *svgPlot) marks(b *strings.Builder, r flight.Result) {
	const letter = 6.6 // about the width of one, in the picture's units
	liftoff := 0.0
	at := []struct {
		name string
		s    *float64
	}{{"liftoff", &liftoff}, {"burnout", r.BurnoutS}, {"top", r.TimeToApogeeS}, {"release", nil}, {"down", r.DurationS}}
	if r.TimeToApogeeS != nil && r.ReleaseLagS != nil {
		release := *r.TimeToApogeeS + *r.ReleaseLagS
		at[3].s = &release
	}
	var labels strings.Builder
	free := [3]float64{}
	for _, m := range at {
		if m.s == nil || *m.s < p.t0 || *m.s > p.t1 {
			continue
		}
		x := p.x(*m.s)
		fmt.Fprintf(b, `<line x1="%.1f" x2="%.1f" y1="%.1f" y2="%.1f" stroke="%s" stroke-dasharray="2 3"/>`, x, x, svgT, svgH-svgB, svgInk)
		row := 0
		for row < len(free)-1 && free[row] > x {
			row++
		}
		width := letter * float64(len(m.name))
		left := min(x+3, svgW-width)
		free[row] = left + width
		fmt.Fprintf(&labels, `<text x="%.1f" y="%.1f" fill="%s" stroke="#ffffff" stroke-width="3" paint-order="stroke">%s</text>`,
			left, svgT+10+13*float64(row), svgInk, m.name)
	}
	b.WriteString(labels.String())
}
