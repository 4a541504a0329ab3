package web

import (
	"html"
	"regexp"
	"strings"
	"testing"

	"padlark/flight/alarm"
)

// TestAlarmPages: every kind of alarm is listed and has its page, with all of
// its words and none of the marks it was written with.
func TestAlarmPages(t *testing.T) {
	_, base := serve(t, recorded().options())
	_, _, list := ask(t, "GET", base+"/alarms", "")
	for _, k := range alarm.Kinds() {
		if !strings.Contains(string(list), `href="/alarms/`+k.Kind+`"`) {
			t.Errorf("%s is not listed", k.Kind)
		}
		_, _, page := ask(t, "GET", base+"/alarms/"+k.Kind, "")
		_, main, _ := strings.Cut(string(page), `<main id="main">`)
		shown := words(html.UnescapeString(regexp.MustCompile(`<[^>]*>`).ReplaceAllString(strings.ReplaceAll(main, "</li>", " "), "")))
		text, _ := alarm.Page(k.Kind)
		text = regexp.MustCompile(`\{([0-9][^{}]*)\}`).ReplaceAllString(text, "$1")
		if written := words(strings.NewReplacer("# ", "", "#", "", "`", "", "\n- ", "\n").Replace(text)); !strings.Contains(shown, written) {
			t.Errorf("%s shows\n%s\nwant\n%s", k.Kind, shown, written)
		}
	}
	if code, _, _ := ask(t, "GET", base+"/alarms/nonsense", ""); code != 404 {
		t.Errorf("an unknown kind: status %d", code)
	}
}

// words is text without its line ends and gaps.
func words(s string) string { return strings.Join(strings.Fields(s), " ") }
