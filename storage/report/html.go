package report

import (
	"bytes"
	_ "embed" // for the pages
	"encoding/json"
	"fmt"
	"html/template"
	"strings"
	"time"

	"padlark/flight"
	"padlark/flight/bench"
	"padlark/flight/phrase"
	"padlark/storage/report/chart"
)

//go:embed style.css
var styleText string

// style is the sheets' own, below the colours that all pages share.
func style() template.CSS { return template.CSS(chart.Variables() + styleText) }

//go:embed flight.html
var flightText string

// Room on one sheet: what is more is counted there, and all of it is in the
// JSON form.
const (
	alarmsShown  = 3
	notesShown   = 2
	linksShown   = 4
	caveatsShown = 5
	// With more lists than these the page is set closer.
	roomyLines = 6
)

// helpers are what the templates call.
func helpers(to phrase.Reader) template.FuncMap {
	return template.FuncMap{
		"num":   func(v float64, unit string) string { return plusMinus(to, v, nil, unit) },
		"unit":  func(si string) string { unit, _ := to.Unit(si); return unit },
		"deref": func(v *float64) float64 { return *v },
		"pmv":   func(v float64, sd *float64, unit string) string { return plusMinus(to, v, sd, unit) },
		"short": short,
		// stop ends a sentence that was not cut.
		"stop": func(s string) string {
			if strings.HasSuffix(s, "…") {
				return ""
			}
			return "."
		},
		"pm": func(v, sd *float64, unit string) string {
			if v == nil {
				return "–"
			}
			return plusMinus(to, *v, sd, unit)
		},
		// level is the class of a checkup's word: "not done" is two.
		"level": func(l bench.Level) string { return strings.Fields(string(l))[0] },
		"after": func(t float64) string { return fmt.Sprintf("%+.1f s", t) },
	}
}

// flightView is what the page's template sees.
type flightView struct {
	*Page
	Style       template.CSS
	Plot        template.HTML
	Word        string // of the verdict
	Where       string
	Setup       string
	ShownAlarms []Alarm
	MoreAlarms  int
	ShownNotes  []string
	MoreNotes   int
	ShownLinks  []Link
	MoreLinks   int

	ShownCaveats []string
	MoreCaveats  int
	Crowded      bool
}

// HTML is the page as one file that needs nothing else and prints on one sheet.
func (p *Page) HTML() ([]byte, error) {
	high := 8.8 * chart.CM
	crowded := len(p.Alarms)+len(p.Notes)+len(p.Links)+len(p.Caveats) > roomyLines
	if crowded {
		high = 7.4 * chart.CM
	}
	svg := p.flightPlot(18.6*chart.CM, high).SVG()
	v := flightView{
		Page: p, Style: style(), Plot: template.HTML(svg), Word: string(p.Result.Level),
		Where: p.where(), Setup: p.setup(), Crowded: crowded,
	}
	v.ShownAlarms, v.MoreAlarms = some(p.Alarms, alarmsShown)
	v.ShownNotes, v.MoreNotes = some(p.Notes, notesShown)
	v.ShownLinks, v.MoreLinks = some(p.Links, linksShown)
	v.ShownCaveats, v.MoreCaveats = some(p.Caveats, caveatsShown)
	return render("flight", flightText, p.To, v)
}

// render runs a template.
func render(name, text string, to phrase.Reader, data any) ([]byte, error) {
	t, err := template.New(name).Funcs(helpers(to)).Parse(text)
	if err != nil {
		return nil, fmt.Errorf("read template of %s: %w", name, err)
	}
	var b bytes.Buffer
	if err := t.Execute(&b, data); err != nil {
		return nil, fmt.Errorf("write page of %s: %w", name, err)
	}
	return b.Bytes(), nil
}

// some are the first most items, and how many more there are.
func some[T any](list []T, most int) (shown []T, more int) {
	if len(list) <= most {
		return list, 0
	}
	return list[:most], len(list) - most
}

// short cuts text after a word, to at most n characters and the dots.
func short(text string, n int) string {
	r := []rune(text)
	if len(r) <= n {
		return text
	}
	cut := string(r[:n])
	if i := strings.LastIndexAny(cut, " \n"); i > n/2 {
		cut = cut[:i]
	}
	return strings.TrimRight(cut, " .,;:") + " …"
}

// where is place and time of the flight. The time of day is the zone's of the
// computer that makes the page, and says so.
func (p *Page) where() string {
	s := p.Session.Station
	if at := p.Result.LaunchedAt; at != nil {
		s += ", " + at.Local().Format("2 January 2006, 15:04:05 MST")
	} else {
		s += ", " + p.Session.Started.Local().Format("2 January 2006 MST")
	}
	if w := p.Typed.Words(); w != "" {
		s += "; " + w
	}
	return s
}

// setup is configuration and software in words.
func (p *Page) setup() string {
	var out []string
	add := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	r := &p.Rocket
	kind := r.Kind
	if kind == "" {
		kind = "water"
	}
	add("%s (%s)", r.Name, kind)
	for _, n := range []struct {
		v      float64
		format string
	}{
		{1000 * r.MassKg, "%.0f g at landing"}, {100 * r.ParachuteM, "parachute %.0f cm"}, {1000 * r.DiameterM, "body %.0f mm"},
		{r.RateHz, "%.0f frames a second"},
	} {
		if n.v > 0 {
			add(n.format, n.v)
		}
	}
	if r.Cell != "" {
		add("cell %s", r.Cell)
	}
	if r.Release != "" {
		add("release %s", r.Release)
	}
	s := strings.Join(out, ", ") + ". " + siteWords(p.To, &p.Site)
	if p.Checkup != nil {
		s += fmt.Sprintf(" Last checkup %s: %s.", p.Checkup.At.Local().Format("2006-01-02"), p.Checkup.Verdict)
	}
	return s + fmt.Sprintf(" Session %s, recorded by padlark %s; time of day fixed by %s.", p.Session.ID, orNone(p.Session.Version), orNone(p.Session.TimeFixedBy))
}

func orNone(s string) string {
	if s == "" {
		return "nothing"
	}
	return s
}

func siteWords(to phrase.Reader, s *flight.Site) string {
	unit, per := to.Unit("m")
	var out []string
	if s.ElevationM != nil {
		out = append(out, fmt.Sprintf("%.0f %s above sea level", *s.ElevationM/per, unit))
	}
	if s.TemperatureC != nil {
		out = append(out, fmt.Sprintf("%.1f °C", *s.TemperatureC))
	}
	if s.PressurePa != nil {
		out = append(out, fmt.Sprintf("%.1f hPa", *s.PressurePa/100))
	}
	if len(out) == 0 {
		return "Nothing is known of the site."
	}
	return "Site: " + strings.Join(out, ", ") + "."
}

// Write gives the page in the form that a file's ending asks for: .html, .svg,
// .png or .json.
func (p *Page) Write(ext string) ([]byte, error) {
	switch ext {
	case ".html":
		return p.HTML()
	case ".json":
		out, err := json.MarshalIndent(p, "", "  ")
		if err != nil {
			return nil, fmt.Errorf("write page: %w", err)
		}
		return append(out, '\n'), nil
	}
	d := p.flightPlot(18.6*chart.CM, 12*chart.CM)
	at := ""
	if p.Result.LaunchedAt != nil {
		at = p.Result.LaunchedAt.Local().Format(", 2006-01-02 15:04 MST")
	}
	d.Plots[0].Title = p.Title + at
	if ext == ".svg" {
		return d.SVGFile(), nil
	}
	return d.PNG()
}

// stamp is a moment for a page.
func stamp(t time.Time) string { return t.Local().Format("2006-01-02 15:04 MST") }
