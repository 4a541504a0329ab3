package web

import (
	"fmt"
	"testing"
	"time"

	"padlark/flight"
	"padlark/web/browsertest"
)

// crowdOf publishes n rockets in a session of their own: up in the air, down
// landed, the rest on the pad, most of them ready.
func crowdOf(v *invented, session string, n, up, down int) {
	now := time.Now().Add(time.Hour) // so that none falls silent while it is looked at
	for i := range n {
		st := stateOf(fmt.Sprintf("Rocket %02d", i+1), 40+3*float64(i%17))
		st.Session, st.At, st.Heard = session, now, now
		st.HighestM, st.SpeedMps, st.CellV, st.RSSIDbm = ptr(112.0), ptr(-4.2+0.01*float64(i)), ptr(3.9), ptr(-70.0)
		switch {
		case i < up:
			st.Phase, st.Released = []flight.Phase{flight.Boost, flight.Coast, flight.Descent, flight.Descent}[i%4], i%4 == 2
			st.ToApogeeS = ptr(2.1)
		case i < up+down:
			st.Phase, st.Released = flight.Landed, i%5 != 0
		default:
			st.Phase, st.Go, st.AltitudeM, st.Armed = flight.Waiting, i%3 != 0, ptr(0.2), ptr(i%2 == 0)
			if !st.Go {
				st.NotYet = []string{"cell low: 3.31 V at rest, 3.5 V is the least for a servo release", "not armed: throw the arming switch last, with everybody behind the line"}
			}
		}
		v.publish(Message{State: st})
	}
}

// crowdAlarms publishes alarms about some of its rockets.
func crowdAlarms(v *invented, session string, urgent, act int) {
	for i := range urgent + act {
		a := alarmForTest()
		a.Session, a.ID, a.Active, a.Acked = session, fmt.Sprint("crowd ", i), true, false
		a.Rocket = fmt.Sprintf("Rocket %02d", 1+i*3)
		if a.Priority, a.Say = flight.LookUp, a.Rocket+" ballistic, look up"; i >= urgent {
			a.Priority, a.Say = flight.Act, a.Rocket+" cell low"
		}
		a.Reason = a.Rocket + " comes down at 21 m/s from 63 m, 1.4 s after its apogee; free fall would be 22 m/s, and no release was seen. Impact in about 2.6 s. Look up, point at it, move away from under it, and keep people behind cover until it is down."
		v.publish(Message{Alarm: a})
	}
}

// browserCrowd: 64 rockets stand on a 1080p screen without scrolling, whatever
// they do, with all that is said of them legible and the alarms above; on a
// phone the alarms stand first.
func browserCrowd(t *testing.T, browser *browsertest.Browser) {
	v := newInvented()
	opt := v.options()
	opt.Rockets = nil
	_, base := serve(t, opt)
	b := browser.Tab(t, base)
	b.Size(1920, 1080, 1, false)
	b.Open("/")
	b.Until("the board", `board.stream`, 10*time.Second)
	type crowd struct{ n, up, down, urgent, act int }
	crowds := []crowd{{64, 0, 0, 0, 5}, {64, 64, 0, 1, 3}, {64, 16, 10, 2, 4}}
	if browsertest.Pictures() {
		crowds = append([]crowd{{1, 0, 0, 0, 0}, {3, 0, 0, 0, 0}, {8, 0, 0, 0, 0}, {16, 0, 0, 0, 2}, {32, 0, 0, 0, 3}, {32, 8, 4, 1, 2}, {3, 1, 1, 0, 0}, {8, 2, 2, 0, 1},
			{16, 4, 4, 0, 0}, {64, 8, 20, 0, 0}, {64, 64, 0, 0, 0}}, crowds...)
	}
	for i, c := range crowds {
		session, name := fmt.Sprint("crowd-", i), fmt.Sprintf("crowd-%02d-up-%02d-down-%02d-alarms-%d-%d", c.n, c.up, c.down, c.urgent, c.act)
		crowdOf(v, session, c.n, c.up, c.down)
		crowdAlarms(v, session, c.urgent, c.act)
		b.Eval(`board.stream.open()`, nil) // the new session's picture, without loading the page again
		b.Until(name+" on one screen", fmt.Sprintf(`board.picture.session === %q && document.querySelectorAll('.card').length === %d && board.picture.alarms.size === %d &&
			board.picture.changed.size === 0 && !board.fit.wanted && document.documentElement.scrollHeight <= innerHeight`, session, c.n, c.urgent+c.act), 10*time.Second)
		b.Shot(name)
		var wrong []string
		b.Eval(crowdScript, &wrong)
		for _, w := range wrong {
			t.Errorf("%s: %s", name, w)
		}
	}
	// The last one is the densest: every step of the style sheet is taken.
	b.Eval(contrastScript, nil)
	for range 2 {
		wantContrast(t, b, "a full board")
		b.Click("#theme")
	}
	var faults []string
	b.Eval(faultScript, &faults)
	// Where even that does not fit, it stays, however often the room is looked for.
	b.Size(1920, 300, 1, false)
	var densest bool
	b.Eval(`(board.fit.now(), board.fit.now(), document.querySelector('.f7') !== null)`, &densest)
	if !densest {
		t.Error("a screen on which not all fit is not set as densely as it can be")
	}
	b.Size(390, 844, 2, true)
	b.Until("a list on the phone", `!board.fit.wanted && board.fit.level === 0 && document.documentElement.scrollHeight > 2 * innerHeight`, 10*time.Second)
	b.Shot("crowd-phone")
	var onPhone, cut []string
	b.Eval(`[...document.querySelectorAll('.card')].filter((c) => c.getBoundingClientRect().top < document.getElementById('alarms').getBoundingClientRect().bottom).map((c) => c.dataset.rocket)`, &onPhone)
	b.Eval(cutScript, &cut)
	for _, f := range append(append(faults, cut...), onPhone...) {
		t.Errorf("a full board: %s", f)
	}
	b.Quiet()
}

// crowdScript lists alarms that do not stand above, what is smaller than the 14 px that a
// person reads at arm's length (common practice, no source), what reaches out of
// its card without dots that say so, and cards without their words.
const crowdScript = `(() => {
	const bad = [];
	const first = document.querySelector('.card').getBoundingClientRect().top, alarms = document.getElementById('alarms').getBoundingClientRect();
	if (alarms.height && alarms.bottom > first) bad.push('an alarm stands below a card');
	for (const card of document.querySelectorAll('.card')) {
		const edge = card.getBoundingClientRect();
		for (const part of ['.name', '.word', '.shape svg']) if (!card.querySelector(part)?.checkVisibility()) bad.push(card.dataset.rocket + ' without its ' + part);
		if (card.dataset.go === 'notyet' && !card.querySelector('.reasons li').checkVisibility()) bad.push(card.dataset.rocket + ' without a reason');
		const walk = document.createTreeWalker(card, NodeFilter.SHOW_TEXT);
		while (walk.nextNode()) {
			const el = walk.currentNode.parentElement;
			if (!walk.currentNode.data.trim() || !el.checkVisibility()) continue;
			const s = getComputedStyle(el);
			if (parseFloat(s.fontSize) < 14) bad.push('only ' + s.fontSize + ': ' + walk.currentNode.data);
			if (s.textOverflow === 'ellipsis' || s.webkitLineClamp !== 'none') continue;
			const range = document.createRange();
			range.selectNodeContents(walk.currentNode);
			const r = range.getBoundingClientRect(), box = el.closest('.now, .facts, header, .card-body, .sign').getBoundingClientRect();
			if (r.right > Math.min(edge.right, box.right || Infinity) + 1 || r.bottom > edge.bottom + 1) bad.push('cut off: ' + card.dataset.rocket + ' ' + walk.currentNode.data);
		}
	}
	return [...new Set(bad)]; })()`
