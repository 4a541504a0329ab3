package web

import (
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

// browserLook opens every page once and looks at it as people with a phone, a
// screen, poor eyes or a screen reader do: nothing is cut off, everything has a
// name and a size for a thumb, the contrast holds in both colours. It keeps
// pictures of each at both sizes. Pictures of a flight as it happens are kept
// where a whole station runs.
func browserLook(t *testing.T, browser *browsertest.Browser) {
	v := recorded()
	_, base := serve(t, ofEveryState(v.options()))
	b := browser.Tab(t, base)
	for _, page := range everyPage() {
		b.Size(390, 844, 2, true)
		b.Open(page.path)
		switch page.name {
		case "board-states":
			everyState(v)
		case "links":
			flying(t, v, 0, 1, hop{rocket: "Teal", link: "pad-radio", pad: 300, noFlight: true, cell: 4})
		}
		b.Until(page.name, page.ready, 10*time.Second)
		if page.path == "/" {
			b.Click(".fold")
		}
		b.Shots(page.name)
		var faults, cut []string
		b.Eval(faultScript, &faults)
		b.Eval(cutScript, &cut)
		for _, f := range append(faults, cut...) {
			t.Errorf("%s on a phone: %s", page.path, f)
		}
		b.Eval(contrastScript, nil)
		b.Eval(`window.frameOver = () => (window.frames0 ??= 0, window.frames0++ > 3)`, nil) // asked in each frame: what changed is drawn
		if page.path == "/" {
			wantContrastScript(t, b)
		}
		wantContrast(t, b, page.path)
		b.Click("#theme")
		wantContrast(t, b, page.path)
		if page.name != "report" { // that one comes anew from the server, see browserUnits
			b.Click("#units")
			b.Until("its quantities in feet", `document.getElementById('units').getAttribute('aria-pressed') === 'true' && frameOver()`, 5*time.Second)
			wantFeet(t, b)
			b.Click("#units")
		}
		if page.dusk {
			b.Shots(page.name + "-dusk")
		}
		b.Click("#theme")
	}
	b.Quiet("/nowhere") // that one was asked for
}

// faultScript looks for what a screen reader and a thumb need: names, targets of
// 24 px and more (WCAG 2.2, success criterion 2.5.8), one h1, labelled regions.
const faultScript = `(() => {
	const bad = [];
	if (document.querySelectorAll('h1').length !== 1) bad.push('not one h1');
	if (document.documentElement.lang !== 'en') bad.push('no language');
	for (const el of document.querySelectorAll('button, input, textarea, a[href], summary')) {
		if (!el.checkVisibility() || el.closest('template')) continue;
		const r = el.getBoundingClientRect();
		const name = el.getAttribute('aria-label') || el.textContent.trim() || el.labels?.[0]?.textContent.trim();
		if (!name) bad.push('no name: ' + el.outerHTML.slice(0, 80));
		const inline = el.tagName === 'A' && getComputedStyle(el).display === 'inline';
		if (!inline && !el.classList.contains('skip') && (r.width < 24 || r.height < 24)) bad.push('too small: ' + el.outerHTML.slice(0, 80) + ' ' + r.width + 'x' + r.height);
	}
	for (const el of document.querySelectorAll('[aria-labelledby]')) if (!document.getElementById(el.getAttribute('aria-labelledby'))) bad.push('label missing: ' + el.id);
	const ids = [...document.querySelectorAll('[id]')].map((e) => e.id);
	for (const id of ids) if (ids.indexOf(id) !== ids.lastIndexOf(id)) bad.push('twice: ' + id);
	return bad; })()`

// cutScript lists texts on the board that reach out of their card, and what makes
// a page wider than the screen. Texts that end in dots are meant to be cut.
const cutScript = `(() => {
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
			if (r.right > edge.right + 1 || r.bottom > edge.bottom + 1) bad.push('cut off: ' + walk.currentNode.data);
		}
	}
	return bad; })()`
