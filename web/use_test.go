package web

import (
	"fmt"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"padlark/flight"
	"padlark/flight/phrase"
	"padlark/storage"
	"padlark/web/browsertest"
)

// browserUnits: the choice of feet holds on every page and after loading again,
// and for everything on it but raw frames and what people typed. browserLook
// looks at the other pages.
func browserUnits(t *testing.T, browser *browsertest.Browser) {
	v := recorded()
	_, base := serve(t, ofEveryState(v.options()))
	b := browser.Tab(t, base)
	b.Open("/flights")
	metres := b.Text("td[data-label=Apogee]")
	b.Click("#units")
	feet := b.Text("td[data-label=Apogee]")
	results, err := v.Flights(t.Context(), day)
	if err != nil {
		t.Fatal(err)
	}
	var plum flight.Result
	for _, r := range results {
		if r.Rocket == "Plum" {
			plum = r
		}
	}
	want := fmt.Sprintf("%.0f ± %.0f ft", *plum.ApogeeM/0.3048, *plum.ApogeeSD/0.3048)
	if feet != want || metres == feet {
		t.Errorf("in feet %q, want %q; in metres it was %q", feet, want, metres)
	}
	b.Open("/flights")
	b.Until("feet again", fmt.Sprintf(`document.querySelector('td[data-label=Apogee]').textContent === %q`, feet), 5*time.Second)
	b.Open("/")
	if got := b.Text("#units .word"); got != "feet" {
		t.Errorf("on the board the unit is %q", got)
	}
	everyState(v)
	b.Until("its alarms", `board.picture.alarms.size === 9`, 10*time.Second)
	a := alarmForTest()
	a.ID, a.Rocket, a.Priority, a.Active, a.Acked = "metric", "Teal", flight.LookUp, true, false
	a.ReasonPhrase = phrase.Of("hung", phrase.Word("rocket", "Teal"), phrase.Qty("height", 63, 0, "m"))
	v.publish(Message{Alarm: a})
	st := stateOf("notyet", 2)
	st.Heard = time.Now().Add(time.Hour) // so that it does not fall silent while this page is read
	st.Phase, st.NotYet = flight.Waiting, []string{"its height wandered by 1.5 m"}
	st.NotYetPhrases = []phrase.Phrase{phrase.Of("sensor-drift", phrase.Word("rocket", "notyet"), phrase.Qty("moved", 1.5, 1, "m"), phrase.Qty("limit", 1, 1, "m"))}
	v.publish(Message{State: st})
	b.Until("the alarm in feet", `/rest 207 ft/.test(document.querySelector('.urgent').textContent) && /207 ft/.test(document.getElementById('say-now').textContent)
		&& /4.9 ft/.test(document.querySelector('[data-rocket=notyet] .reasons').textContent)`, 10*time.Second)
	wantFeet(t, b)
	rust := url.PathEscape(day + "~Rust~1")
	b.Open("/flights/" + rust)
	b.Until("what happened", `window.flightReady && document.querySelector('#events .was-alarm')`, 10*time.Second)
	wantFeet(t, b)
	// The server's own picture follows the switch.
	b.Open("/flights/" + rust + "/report")
	wantFeet(t, b)
	b.Click("#units")
	b.Until("the picture in metres", `document.documentElement.dataset.units === 'metric' && [...document.querySelectorAll('.report svg text')].some((t) => / m$/.test(t.textContent))`, 10*time.Second)
	b.Quiet()
}

// wantFeet looks at all that a person reads on a page; what was said before
// the switch was said.
func wantFeet(t *testing.T, b *browsertest.Tab) {
	t.Helper()
	var left []string
	b.Eval(`(() => {
		const metric = /[0-9–] ?(m|metres|m\/s|m\/s2|m\/s²)(?![\w²/])|, (m|m\/s|m\/s²)$/, bad = [];
		const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
		while (walk.nextNode()) if (!walk.currentNode.parentElement.closest('pre, code, .notes, noscript, template, [aria-live]') && metric.test(walk.currentNode.data)) bad.push(walk.currentNode.data);
		for (const el of document.querySelectorAll('[aria-label], [title]')) for (const name of ['aria-label', 'title'])
			if (metric.test(el.getAttribute(name) ?? '')) bad.push(name + ' ' + el.getAttribute(name));
		if (!/ ft/.test(document.querySelector('main').textContent) && !/^.(clock|links|ready|signin|nowhere|alarms|sessions|join|sounder|keys|configuration)$/.test(location.pathname)) bad.push('(nothing in feet at all)');
		return bad.map((text) => location.pathname + ': ' + text); })()`, &left)
	for _, l := range left {
		t.Errorf("in feet is left: %s", l)
	}
}

// browserZone: times are those of the place where the reader is, in what the
// server wrote and in what a script did. Kathmandu is 5 h 45 min ahead of UTC
// (IANA time zone data base), so a mistake in hours or in minutes shows.
func browserZone(t *testing.T, browser *browsertest.Browser) {
	v := recorded()
	_, base := serve(t, ofEveryState(v.options()))
	b := browser.Tab(t, base)
	everyState(v)
	b.Zone("Asia/Kathmandu")
	there := time.FixedZone("Kathmandu", (5*60+45)*60)
	results, err := v.Flights(t.Context(), day)
	if err != nil {
		t.Fatal(err)
	}
	want := results[0].LaunchedAt.In(there).Format("2006-01-02 15:04")
	b.Open("/flights")
	b.Until("the launch in local time", fmt.Sprintf(`[...document.querySelectorAll("td[data-label=Launched]")].some((e) => e.innerText === %q)`, want), 5*time.Second)
	b.Open("/")
	since := `document.querySelector(".alarm .since").textContent`
	b.Until("an alarm", since, 10*time.Second)
	var text, raised string
	b.Eval(since, &text)
	b.Eval(`fetch("/api/v1/alarms").then((r) => r.json()).then((l) => l.map((a) => a.raised_at).join(" "))`, &raised)
	found := false
	for _, at := range strings.Fields(raised) {
		when, err := time.Parse(time.RFC3339, at)
		if err != nil {
			t.Fatal(err)
		}
		found = found || strings.Contains(text, when.In(there).Format("15:04:05"))
	}
	if !found {
		t.Errorf("the alarm says %q; raised at %s", text, raised)
	}
	b.Quiet()
}

// browserKeyboard walks the board with the Tab key to the alarm and acknowledges
// it, and looks at the regions that a screen reader reads out.
func browserKeyboard(t *testing.T, browser *browsertest.Browser) {
	v := recorded()
	_, base := serve(t, ofEveryState(v.options()))
	b := browser.Tab(t, base)
	everyState(v)
	b.Size(1920, 1080, 1, false)
	b.Open("/")
	b.Until("the alarm", `document.querySelector('.alarm.p1')`, 10*time.Second)
	var regions []string
	b.Eval(`[...document.querySelectorAll('[aria-live]')].map((e) => e.getAttribute('aria-live'))`, &regions)
	if d := cmp.Diff([]string{"assertive", "polite"}, regions); d != "" {
		t.Errorf("live regions (-want +got)\n%s", d)
	}
	var stops []string
	for range 18 {
		b.Press("Tab")
		var at string
		b.Eval(`document.activeElement.id || document.activeElement.className.replace("wide", "") || document.activeElement.textContent`, &at)
		stops = append(stops, at)
	}
	for _, want := range []string{"skip", "Board", "Clock? (not trusted)", "sound", "units", "theme", "ack"} {
		if !slices.Contains(stops, want) {
			t.Errorf("Tab never comes to %q: %q", want, stops)
		}
	}
	if i, k := slices.Index(stops, "skip"), slices.Index(stops, "ack"); i != 0 || k < 0 {
		t.Errorf("the way through the page: %q", stops)
	}
	b.Eval(`document.querySelector('.alarm.p1 .ack').focus()`, nil)
	b.Press("Enter")
	b.Until("the acknowledgement to arrive", `document.querySelector('.alarm.p1 .ack') && !document.querySelector('.alarm.p1 .ack').disabled`, 5*time.Second)
	v.mu.Lock()
	defer v.mu.Unlock()
	if len(v.acked) == 0 {
		t.Error("Enter on the button acknowledged nothing")
	}
}

// browserPrint: the report fills one sheet, of A4 and of Letter, and so do twelve
// flights that are compared, dark on white also where the page is in dusk.
func browserPrint(t *testing.T, browser *browsertest.Browser) {
	v := recorded()
	v.notes = []storage.Note{{Session: day, Rocket: "Teal", Flight: 1, At: inventedEpoch, Text: "0.6 l of water, 5 bar, light wind from the west"}}
	var twelve []string
	for i := range 12 {
		session, rocket := fmt.Sprintf("20250%d01-093000-many", 1+i/3), inventedRockets()[i%3].Name
		if i%3 == 0 {
			var hops []hop
			for k, r := range inventedRockets() {
				hops = append(hops, hop{rocket: r.Name, link: "pad-radio", pad: 12 + 20*float64(k), after: 6, speed: 20 + float64(i), sink: 5, cell: 4})
			}
			v.record(session, inventedEpoch.Add(-time.Duration(i+1)*24*time.Hour), hops...)
		}
		twelve = append(twelve, "flight="+url.QueryEscape(FlightID{session, rocket, 1}.String()))
	}
	_, base := serve(t, v.options())
	b := browser.Tab(t, base)
	b.Open("/compare?" + strings.Join(twelve, "&"))
	b.Until("twelve lines", `document.querySelector('#spread th')?.textContent.startsWith('Mean of 12')`, 20*time.Second)
	b.Click("#theme")
	var drawn struct {
		Wide  float64
		Theme string
	}
	b.Eval(`(() => { dispatchEvent(new Event('beforeprint')); const c = document.querySelector('.plot canvas');
		const seen = { Wide: c.width / devicePixelRatio, Theme: document.documentElement.dataset.theme }; dispatchEvent(new Event('afterprint')); return seen; })()`, &drawn)
	if drawn.Theme != "daylight" || drawn.Wide > 720 {
		t.Errorf("for paper the plot is drawn %g px wide in %s colours", drawn.Wide, drawn.Theme)
	}
	if n := sheets(b.PDF(8.27, 11.69)); n != 1 {
		t.Errorf("twelve flights compared take %d sheets", n)
	}
	b.Open("/flights/" + url.PathEscape("20250614-093000-efgh~Teal~1") + "/report")
	for paper, inches := range map[string][2]float64{"A4": {8.27, 11.69}, "Letter": {8.5, 11}} {
		if n := sheets(b.PDF(inches[0], inches[1])); n != 1 {
			t.Errorf("on %s the report takes %d sheets", paper, n)
		}
	}
	// The page of a flight: its plots, and beside them what happened, without forms.
	b.Open("/flights/" + url.PathEscape("20250614-093000-efgh~Teal~1"))
	b.Until("its plots", `window.flightReady`, 20*time.Second)
	if n := sheets(b.PDF(8.27, 11.69)); n != 2 {
		t.Errorf("a flight's page takes %d sheets", n)
	}
}

// sheets counts those of a printed page: each is an object of type Page (ISO
// 32000-1, 7.7.3.3; from memory).
func sheets(pdf []byte) int {
	return len(regexp.MustCompile(`/Type\s*/Page\b[^s]`).FindAll(pdf, -1))
}
