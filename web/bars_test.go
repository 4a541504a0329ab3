package web

import (
	"fmt"
	"net/url"
	"testing"
	"time"

	"padlark/web/browsertest"
)

// onePage is a page that every look visits.
type onePage struct {
	name, path, ready string
	dusk              bool // keep a picture in dusk too
}

// everyPage is every kind of page there is, over recorded().
func everyPage() []onePage {
	id := url.PathEscape("20250614-093000-efgh~Teal~1")
	return []onePage{
		{"board-states", "/", `document.querySelectorAll('.card').length >= 8 && document.querySelectorAll('.alarm').length >= 5`, true},
		{"flights", "/flights", `true`, false}, {"sessions", "/sessions", `true`, false},
		{"clock", "/clock", `!document.getElementById('offer').disabled`, false},
		{"field", "/field", `document.querySelector('.sketch')`, false},
		{"join", "/join", `true`, false}, {"sounder", "/sounder", `!document.getElementById('record').hidden`, false},
		{"configuration", "/configuration", `true`, false},
		{"ready", "/ready", `document.querySelectorAll('tbody tr').length > 0`, false},
		{"keys", "/keys?q=link", `document.querySelectorAll('.keys dt').length > 0`, false},
		{"alarms", "/alarms", `true`, false}, {"alarm", "/alarms/ballistic", `true`, false},
		{"signin-open", "/signin", `true`, false}, {"missing", "/nowhere", `true`, false}, {"report", "/flights/" + id + "/report", `true`, true},
		{"links", "/links", `document.querySelectorAll('#raw tr').length > 5`, false},
		{"guess", "/links?guess=pad-radio", `document.querySelectorAll('#guess tbody tr').length === 5`, true},
		{"flight", "/flights/" + id, `window.flightReady`, true},
		{"compare", "/compare?flight=" + id + "&flight=" + url.QueryEscape("20250613-150000-abcd~Teal~1"), `document.querySelectorAll('#spread tr').length === 1`, false},
		{"replay", "/sessions/" + day + "?at_s=47", `document.querySelector('.card.flying')`, true},
	}
}

// widths are those of phones, a tablet and a laptop, in CSS pixels.
var widths = [][2]int64{{360, 740}, {390, 844}, {768, 1024}, {1366, 768}}

// browserBars holds every page against the bars that are promised, signed in and
// not: axe-core finds nothing in either colours, nothing is wider than the
// screen at any of widths, and what is drawn keeps a contrast of 3.
func browserBars(t *testing.T, browser *browsertest.Browser) {
	axe := browsertest.Axe(t)
	v := recorded()
	opt := ofEveryState(v.options())
	_, open := serve(t, opt)
	opt.Access = Access{CrewHash: cheapHash(t, "kite over field")}
	_, closed := serve(t, opt)
	for _, signed := range []bool{false, true} {
		base := open
		if signed {
			base = closed
		}
		b := browser.Tab(t, base)
		b.Size(390, 844, 2, true)
		if signed {
			b.Open("/flights")
			wantBars(t, b, "sign-in", axe)
			b.Eval(`document.querySelector('input[type=password]').value = 'kite over field'`, nil)
			b.Click(".signin button")
			b.Until("the way in", `location.pathname === '/flights'`, 20*time.Second)
		}
		for _, page := range everyPage() {
			if signed && page.path != "/" && page.path != "/flights" {
				continue // but for the bar, with and without the sound, they are the same pages
			}
			b.Open(page.path)
			stop := func() {}
			switch page.name {
			case "board-states":
				everyState(v)
			case "links":
				stop = flying(t, v, 0, 1, hop{rocket: "Teal", link: "pad-radio", pad: 300, noFlight: true, cell: 4})
			}
			b.Until(page.name, page.ready, 20*time.Second)
			stop() // its states are of another session than everyState's
			name, audit := page.name, axe
			if signed {
				name += " signed in"
				if page.path != "/" {
					audit = ""
				}
			}
			wantBars(t, b, name, audit)
			b.Shot(fmt.Sprint("bars-", page.name, "-1366-", signed))
		}
		b.Quiet("/nowhere")
	}
}

// wantBars looks at the page that is open.
//
// Without axe only the sizes are looked at.
func wantBars(t *testing.T, b *browsertest.Tab, name, axe string) {
	t.Helper()
	for _, w := range widths {
		b.Size(w[0], w[1], 1, w[0] < 1000)
		var wide []string
		b.Eval(fmt.Sprintf(wideScript, w[0], w[1]), &wide)
		for _, x := range wide {
			t.Errorf("%s at %d px: %s", name, w[0], x)
		}
		if axe == "" || w[0] != 390 && w[0] != 1366 {
			continue
		}
		for _, rules := range []string{"", "color-contrast"} { // in the other colours nothing else differs
			if rules != "" && w[0] != 390 {
				break // nor do the colours on a screen
			}
			for _, x := range b.Audit(axe, rules) {
				var theme string
				b.Eval(`document.documentElement.dataset.theme`, &theme)
				t.Errorf("%s at %d px, %s: %s", name, w[0], theme, x)
			}
			if w[0] == 390 {
				b.Click("#theme")
			}
		}
	}
}

// wideScript lists what is wider than the screen, and what stands beside it.
const wideScript = `new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => {
	const bad = [], W = %d, H = %d;
	if (document.documentElement.scrollWidth > W) bad.push('the page is ' + document.documentElement.scrollWidth + ' px wide');
	for (const el of document.querySelectorAll('body *')) {
		if (!el.checkVisibility() || el.closest('.hidden, .skip, template, svg, .table-wrap, .replay-marks')) continue;
		const r = el.getBoundingClientRect();
		if (r.width > 1 && (r.right > W + 1 || r.left < -1)) bad.push(el.tagName + '.' + el.className + ' reaches from ' + Math.round(r.left) + ' to ' + Math.round(r.right));
	}
	for (const el of document.querySelectorAll('.nav')) {
		const r = el.getBoundingClientRect();
		if (getComputedStyle(el).position === 'fixed' && Math.abs(r.bottom - H) > 1) bad.push('the navigation ends at ' + r.bottom + ' of ' + H);
	}
	done(bad.slice(0, 6)); })))`
