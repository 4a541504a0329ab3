package web

import (
	"net/http"
	"strings"
	"testing"

	"padlark/flight"
	"padlark/flight/phrase"
)

// A verdict and the table of results beside it say the same speed, in feet as well:
// it is converted from what was measured, not from what was written.
func TestVerdictInFeet(t *testing.T) {
	inFeet := reader{phrase.Reader{Feet: true}}
	r := flight.Result{Rocket: "Teal", DescentMps: new(4.6449)}
	r.Judge(flight.Good, phrase.Of("well", phrase.In("lag", phrase.Of("lag-unknown")), phrase.PlusMinus("sink", *r.DescentMps, nil, "m/s")))
	if want := "good: released at a moment that is not known, sank at 4.6 m/s"; r.Verdict != want {
		t.Errorf("%q, want %q", r.Verdict, want)
	}
	got, want := inFeet.Verdict(r), inFeet.Num("speed", r.DescentMps, nil)
	if want != "15.2 ft/s" || !strings.Contains(got.Text, want) || got.Class != "good" { // 15.1 from the rounded number
		t.Errorf("the verdict is %+v, the table says %q", got, want)
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

// A page is in a language that the browser asks for, or else in the station's.
func TestLanguageOfPages(t *testing.T) {
	v := recorded()
	o := v.options()
	o.Reader.Language = phrase.Japanese
	_, base := serve(t, o)
	for accept, want := range map[string]string{"de-DE,de;q=0.9,en;q=0.8": "de", "en": "en", "fr": "ja", "": "ja"} {
		_, _, body := ask(t, "GET", base+"/flights", "", "Accept-Language", accept)
		verdict := map[string]string{"en": "good: released", "de": "gut: ausgeworfen", "ja": "良好：頂点の"}[want]
		if text := string(body); !strings.Contains(text, `<html lang="`+want+`"`) || !strings.Contains(text, verdict) || !strings.Contains(text, "/texts."+want+".js") {
			t.Errorf("%q: want the language %s and %q", accept, want, verdict)
		}
	}
}
