package web

import (
	"net/url"
	"testing"
	"time"

	"padlark/web/browsertest"
)

// recorded is an archive with a day's flights.
func recorded() *invented {
	v := newInvented()
	v.record("20250613-150000-abcd", inventedEpoch.Add(-18*time.Hour),
		hop{rocket: "Teal", link: "pad-radio", pad: 20, after: 15, speed: 38, sink: 4.5, cell: 4.02})
	v.record("20250614-093000-efgh", inventedEpoch,
		hop{rocket: "Teal", link: "pad-radio", pad: 25, after: 20, speed: 41, sink: 5, cell: 3.95},
		hop{rocket: "Rust", link: "pad-radio", pad: 45, after: 15, speed: 36, ballistic: true, cell: 3.71},
		hop{rocket: "Plum", link: "field-udp", pad: 60, after: 15, speed: 45, sink: 4, cell: 4.1})
	return v
}

// browserLook keeps pictures of the pages at a phone's and a screen's size for a
// person to look at, in both colours, and looks whether anything is cut off.
// The pictures of a flight as it happens are kept where a whole station runs.
func browserLook(t *testing.T, browser *browsertest.Browser) {
	v := recorded()
	_, base := serve(t, v.options())
	b := browser.Tab(t, base)
	flying(t, v, 0, 1, hop{rocket: "Teal", link: "pad-radio", pad: 300, noFlight: true, cell: 4})
	id := url.PathEscape("20250614-093000-efgh~Teal~1")
	for _, page := range []struct {
		name, path, ready string
		dusk              bool
	}{
		{"board-states", "/", `document.querySelectorAll('.card').length >= 8 && document.querySelectorAll('.alarm').length >= 5`, true},
		{"flights", "/flights", `true`, false}, {"sessions", "/sessions", `true`, false}, {"clock", "/clock", `true`, false}, {"signin-open", "/signin", `true`, false},
		{"missing", "/nowhere", `true`, false}, {"report", "/flights/" + id + "/report", `true`, false},
		{"links", "/links", `document.querySelectorAll('#raw tr').length > 5`, false},
		{"flight", "/flights/" + id, `window.flightReady`, true},
		{"compare", "/compare?flight=" + id + "&flight=" + url.QueryEscape("20250613-150000-abcd~Teal~1"), `document.querySelectorAll('#spread tr').length === 1`, false},
		{"replay", "/sessions/20250614-093000-efgh?at_s=30", `document.querySelector('.card.flying')`, true},
	} {
		b.Open(page.path)
		if page.path == "/" {
			everyState(v)
		}
		b.Until(page.name, page.ready, 10*time.Second)
		b.Shots(page.name)
		b.Size(390, 844, 2, true)
		var cut []string
		b.Eval(cutOff, &cut)
		for _, c := range cut {
			t.Errorf("%s on a phone: cut off: %s", page.name, c)
		}
		if page.dusk {
			b.Eval(`document.getElementById("theme").click()`, nil)
			b.Shots(page.name + "-dusk")
			b.Eval(`document.getElementById("theme").click()`, nil)
		}
	}
	b.Quiet("/nowhere") // that one was asked for
}

// cutOff lists texts on the board that reach out of their card, and what makes
// a page wider than the screen. Texts that end in dots are meant to be cut.
const cutOff = `(() => {
	const bad = [];
	if (document.documentElement.scrollWidth > innerWidth + 1) bad.push('the page is ' + document.documentElement.scrollWidth + ' px wide');
	for (const card of document.querySelectorAll('.card, .alarm, .link')) {
		const edge = card.getBoundingClientRect();
		const walk = document.createTreeWalker(card, NodeFilter.SHOW_TEXT);
		while (walk.nextNode()) {
			const el = walk.currentNode.parentElement;
			if (!walk.currentNode.data.trim() || !el.checkVisibility() || getComputedStyle(el).textOverflow === 'ellipsis') continue;
			const range = document.createRange();
			range.selectNodeContents(walk.currentNode);
			const r = range.getBoundingClientRect();
			if (r.right > edge.right + 1 || r.bottom > edge.bottom + 1) bad.push(walk.currentNode.data);
		}
	}
	return bad; })()`
