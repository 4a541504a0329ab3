package web

import (
	"go/ast"
	"go/parser"
	"go/token"
	"net/http"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"padlark/flight"
)

// sentences are what the record may say, and the same in feet. The foot is
// 0.3048 m exactly (international yard and pound agreement of 1959).
var sentences = []struct {
	said
	feet string
}{
	{said{Text: "at 84 m, sinking at 8 m/s."}, "at 276 ft, sinking at 26 ft/s."},
	{said{Text: "parachute (0.60 m, 150 g)"}, "parachute (1.97 ft, 150 g)"},
	{said{Text: "jolted (31 m/s2); 9.8 m/s² is rest"}, "jolted (102 ft/s2); 32.2 ft/s² is rest"},
	{said{Text: "sank at 4.6 m/s", Exact: []float64{99, 4.6449}}, "sank at 15.2 ft/s"}, // 15.1 from the rounded number
	{said{Text: "at -3.0 m"}, "at -9.8 ft"},
	{said{Text: "Big 3 m: 3 m up", Names: []string{"", "Big", "Big 3 m"}}, "Big 3 m: 10 ft up"},
	{said{Text: "5 min, 12 mV, 3 m² , 2 m/h, V2 m, 1.2.3 m, 7m, 4  m"}, "5 min, 12 mV, 3 m² , 2 m/h, V2 m, 1.2.3 m, 7m, 4  m"},
	{said{Text: "980 hPa: 12 m of height apart"}, "980 hPa: 39 ft of height apart"},
	{said{Text: "at 2 of 3 m, 2 to 30 m/s, 2 of 3 cells"}, "at 7 of 10 ft, 7 to 98 ft/s, 2 of 3 cells"},
	{said{Text: "30 m"}, "98 ft"},
	{said{Text: ""}, ""},
}

func TestSentencesInFeet(t *testing.T) {
	for _, c := range sentences {
		if got := feet.write(c.said); got != c.feet {
			t.Errorf("%q: %q, want %q", c.Text, got, c.feet)
		}
		if got := metric.write(c.said); got != c.Text {
			t.Errorf("%q: %q in metric units", c.Text, got)
		}
	}
	// A verdict and the table of results beside it say the same speed.
	r := flight.Result{Rocket: "Teal", Verdict: "good: released 0.21 s after apogee, sank at 4.6 m/s", DescentMps: ptr(4.6449)}
	if got, want := feet.Verdict(r).Text, feet.Num("speed", r.DescentMps, nil); !strings.Contains(got, want) {
		t.Errorf("the verdict is %q, the table says %q", got, want)
	}
}

// leftMetric finds a metric quantity in what a person reads.
var leftMetric = regexp.MustCompile(`[0-9–] ?(m|metres|m/s|m/s2|m/s²)\b`)

// Every sentence that the rules of the alarms, the verdicts and the bench know
// is converted as a whole: this reads their formats from the source, so that a
// new one that writes its quantities in another way is found.
func TestEverySentenceConverts(t *testing.T) {
	verb := regexp.MustCompile(`%[-+0-9.]*[fdgv]`)
	seen := 0
	for _, dir := range []string{"../flight/alarm", "../flight/smooth", "../flight/track", "../flight/bench"} {
		sources, err := filepath.Glob(dir + "/*.go")
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range sources {
			if strings.HasSuffix(name, "_test.go") {
				continue
			}
			p, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
			if err != nil {
				t.Fatal(err)
			}
			ast.Inspect(p, func(n ast.Node) bool {
				l, ok := n.(*ast.BasicLit)
				if !ok || l.Kind != token.STRING {
					return true
				}
				text, err := strconv.Unquote(l.Value)
				if err != nil || !verb.MatchString(text) || strings.Contains(text, "_m") {
					return true // what names a setting is an error about the configuration
				}
				filled := verb.ReplaceAllString(text, "2.5")
				if !leftMetric.MatchString(filled) {
					return true
				}
				seen++
				if got := feet.write(said{Text: filled}); leftMetric.MatchString(got) {
					t.Errorf("%s: %q reads in feet %q", name, text, got)
				}
				return true
			})
		}
	}
	if seen < 20 {
		t.Errorf("only %d sentences with lengths or speeds were found", seen)
	}
}

// A report and a picture come in the units that the address asks for, or those
// that were chosen on the pages, or metric; nothing else changes.
func TestUnitsOfAnswers(t *testing.T) {
	_, _, base := live(t)
	report := strings.Replace(teal, "/api/v1", "", 1) + "/report"
	for _, path := range []string{teal + "/export/svg", report} {
		for _, c := range []struct{ query, cookie, want, not string }{
			{"", "", " m</text>", " ft</text>"}, {"", "feet", " ft</text>", " m</text>"}, {"?units=feet", "", " ft</text>", " m</text>"},
			{"?units=metric", "feet", " m</text>", " ft</text>"}, {"", "furlongs", " m</text>", " ft</text>"},
		} {
			code, h, body := ask(t, "GET", base+path+c.query, "", "Cookie", unitsCookie+"="+c.cookie)
			if text := string(body); code != 200 || !strings.Contains(text, c.want) || strings.Contains(text, c.not) {
				t.Errorf("%s%s with cookie %q: status %d, wanted are labels with %q only", path, c.query, c.cookie, code, c.want)
			}
			if path != report && !strings.Contains(strings.Join(h.Values("Vary"), ","), "Cookie") {
				t.Errorf("%s: Vary is %q: a cache would mix up the units", path, h.Values("Vary"))
			}
		}
		if code, _, body := ask(t, "GET", base+path+"?units=furlongs", ""); code != http.StatusBadRequest || !strings.Contains(string(body), "give metric or feet") {
			t.Errorf("%s in furlongs: status %d, %.200s", path, code, body)
		}
	}
	_, _, plain := ask(t, "GET", base+teal, "")
	if _, _, inFeet := ask(t, "GET", base+teal, "", "Cookie", unitsCookie+"=feet"); string(inFeet) != string(plain) {
		t.Error("the interface for programs changes with the units chosen on the pages")
	}
}
