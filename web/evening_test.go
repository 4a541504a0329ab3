package web

import (
	"fmt"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"padlark/storage"
	"padlark/web/browsertest"
)

// browserEvening: the list shows what the season comes to and each flight's curve,
// on a phone before its numbers; what was worked out takes the place of what was
// called live; two flights of one rocket are compared with their set-ups and their
// difference; the wheel zooms about the pointer.
func browserEvening(t *testing.T, browser *browsertest.Browser) {
	v := recorded()
	const before = "20250613-150000-abcd"
	v.notes = []storage.Note{{ID: 1, Session: day, Rocket: "Teal", Flight: 1, Text: "650ml water, 4 bar, wind 2 m/s"}, {ID: 2, Session: before, Rocket: "Teal", Flight: 1, Text: "water 600 mL"}}
	_, base := serve(t, v.options())
	b := browser.Tab(t, base)
	b.Size(390, 844, 2, true)
	b.Open("/flights")
	b.Until("the curves in sight", `document.querySelectorAll('.curve').length >= 2`, 10*time.Second)
	b.Shot("flights-390")
	var first string
	b.Eval(`[...document.querySelectorAll('tbody tr:first-child td')].sort((a, b) => a.getBoundingClientRect().top - b.getBoundingClientRect().top)[0].className`, &first)
	if first != "curve-cell" {
		t.Errorf("on a phone %q comes first", first)
	}
	b.Size(1366, 768, 1, false)
	b.Until("all curves", `document.querySelectorAll('.curve').length === 4`, 10*time.Second)
	b.Shot("flights-1366")
	results, err := v.Flights(t.Context(), "")
	if err != nil {
		t.Fatal(err)
	}
	good, climbed := 0, 0.0
	for _, r := range results {
		if r.Level == "good" {
			good++
		}
		climbed += *r.ApogeeM
	}
	if got, want := b.Text(".totals"), fmt.Sprintf("%d flights, %d good", len(results), good); !strings.HasPrefix(got, want) || !strings.Contains(got, fmt.Sprintf("%.1f m climbed", climbed)) || !strings.Contains(got, "Plum flight 1") {
		t.Errorf("the season is %q, want %q and %.1f m", got, want, climbed)
	}

	b.Open("/flights/" + url.PathEscape(day+"~Teal~1"))
	b.Until("the flight", `window.flightReady`, 10*time.Second)
	events := b.Text("#events")
	d := regexp.MustCompile(`([0-9.]+) s\s+apogee, at ([^\n]*)`).FindStringSubmatch(events)
	if d == nil || d[1] != fmt.Sprintf("%.2f", *results[1].TimeToApogeeS) && !strings.Contains(events, "called live at") {
		t.Errorf("what happened: %q", events)
	}
	var row string
	b.Eval(`[...document.querySelectorAll('.results tr')].find((r) => /Time to apogee/.test(r.innerText)).querySelector('td').innerText`, &row)
	if d != nil && !strings.HasPrefix(fmt.Sprintf("%.1f", number64(t, d[1])), strings.SplitN(row, " ", 2)[0][:3]) {
		t.Errorf("the top stands at %s s beside a result of %s", d[1], row)
	}
	b.Eval(`(() => { const c = document.querySelector('.plot canvas'), r = c.getBoundingClientRect();
		c.dispatchEvent(new WheelEvent('wheel', { deltaY: -100, clientX: r.left + r.width / 2, clientY: r.top + 20, bubbles: true, cancelable: true })); })()`, nil)
	label := func() (lo, hi float64) {
		var text string
		b.Eval(`document.querySelector('.plot canvas').getAttribute('aria-label')`, &text)
		m := regexp.MustCompile(`from (\S+) s to (\S+) s`).FindStringSubmatch(text)
		if m == nil {
			t.Fatalf("the plot is called %q", text)
		}
		return number64(t, m[1]), number64(t, m[2])
	}
	b.Until("the plot to follow the wheel", `!/from \u22125.0 s/.test(document.querySelector('.plot canvas').getAttribute('aria-label'))`, 5*time.Second)
	if lo, hi := label(); lo <= -5 || hi <= lo {
		t.Errorf("the wheel shows %g to %g s", lo, hi)
	}

	b.Open("/compare")
	b.Until("two flights of the rocket that flew last, or one", `document.querySelectorAll('.pick input:checked').length >= 1`, 10*time.Second)
	if got := b.Text(".which [aria-current]"); got != "Plum" {
		t.Errorf("compared are flights of %q", got)
	}
	b.Open("/compare?rocket=Teal")
	b.Until("their difference", `document.querySelectorAll('#spread tr').length === 1 && document.querySelectorAll('.plot').length === 2 && document.querySelectorAll('.plot')[1].checkVisibility() && /minus/.test(document.querySelectorAll('.plot figcaption')[1].innerText)`, 10*time.Second)
	b.Shot("compare-1366")
	if got := b.Text(".choose"); !strings.Contains(got, "650 mL") || !strings.Contains(got, "600 mL") || !strings.Contains(got, "4.0 bar") || !strings.Contains(got, "2.0 m/s") || strings.Contains(got, "Nozzle") {
		t.Errorf("set-ups: %q", got)
	}
	// The newer flight left with 41 m/s, the older with 38: until the older one is at
	// its top, 4 s after liftoff, the difference grows to about 3 m/s times 4 s.
	var text string
	b.Eval(`document.querySelectorAll('.plot canvas')[1].getAttribute('aria-label')`, &text)
	m := regexp.MustCompile(`between (\S+) and (\S+)$`).FindStringSubmatch(text)
	if m == nil || number64(t, m[2]) < 8 || number64(t, m[2]) > 25 {
		t.Errorf("the difference is %q", text)
	}
	b.Size(390, 844, 2, true)
	b.Shot("compare-390")
	b.Quiet()
}

// number64 reads a number with a true minus sign.
func number64(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(strings.Replace(s, "\u2212", "-", 1), 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}
