package web

import (
	"fmt"
	"testing"
	"time"

	"padlark/flight"
	"padlark/flight/phrase"
	"padlark/web/browsertest"
)

// browserLookUp: while a rocket falls the page shows its height and speed as they
// are, counts the seconds down, and lets the most urgent and most exact alarm
// speak; what is over stands behind what goes on. All of it is seen without
// scrolling on phones of 360 and 390 px and on a small laptop.
func browserLookUp(t *testing.T, browser *browsertest.Browser) {
	v := newInvented()
	_, base := serve(t, v.options())
	b := browser.Tab(t, base)
	b.Size(390, 844, 2, true)
	b.Open("/")
	publish := func(name string, phase flight.Phase, height, speed float64, f func(*flight.State)) {
		st := stateOf(name, height)
		st.At, st.Heard, st.Phase, st.SpeedMps, st.HighestM, st.CellV, st.Flight = time.Now(), time.Now(), phase, &speed, ptr(88.0), ptr(3.9), 1
		if f != nil {
			f(st)
		}
		v.publish(Message{State: st})
	}
	fall := func(height, speed float64) {
		publish("Rust", flight.Descent, height, -speed, func(s *flight.State) { s.ToApogeeS = ptr(-3.2) })
	}
	raise := func(id, rocket, kind, say string, active bool, at time.Time) {
		a := alarmForTest()
		a.ID, a.Rocket, a.Kind, a.Say, a.Active, a.RaisedAt = id, rocket, kind, say, active, at
		// As the rule says it (see flight/alarm).
		a.SayPhrase = phrase.Phrase{}
		if kind == "ballistic" {
			a.SayPhrase = phrase.Of("ballistic.say.many", phrase.Word("rocket", rocket), phrase.Qty("left", 3, 0, "s"))
		}
		a.ReasonPhrase = phrase.Of("ballistic", phrase.Word("rocket", rocket), phrase.Qty("speed", 21, 0, "m/s"), phrase.Qty("height", 63, 0, "m"),
			phrase.Qty("after", 1.4, 1, "s"), phrase.Qty("free", 22, 0, "m/s"), phrase.In("why", phrase.Of("ballistic.unseen")), phrase.In("when", phrase.Of("ballistic.soon")))
		v.publish(Message{Alarm: a})
	}
	now := time.Now()
	publish("Teal", flight.Descent, 71, -4.5, func(s *flight.State) { s.Released, s.ToApogeeS = true, ptr(-6.0) })
	publish("Plum", flight.Waiting, 0.2, 0, func(s *flight.State) { s.Go = true })
	raise("over", "Plum", "ballistic", "look up! Plum ballistic, 1 second", false, now.Add(-time.Minute))
	raise("exact", "Rust", "ballistic", "look up! Rust ballistic, 3 seconds", true, now)
	raise("vague", "Rust", "no-release", "Rust no release, look up", true, now.Add(100*time.Millisecond))
	raise("slow", "Teal", "fast-descent", "Teal coming down fast, look up", true, now)
	fall(80, 22) // last of all: its seconds run
	urgent := func(i int, part string) string {
		return fmt.Sprintf(`document.querySelectorAll('.urgent .alarm')[%d].querySelector('%s').innerText`, i, part)
	}
	// What is seen is kept in the same frame: on a busy machine it may be old by the next question.
	b.Until("the fall", `document.querySelectorAll('.urgent .alarm').length === 2 && /down in/.test(`+urgent(0, ".left")+`) &&
		(window.seen = [`+urgent(0, ".say")+`, `+urgent(0, ".height")+`, `+urgent(0, ".left")+`, `+urgent(1, ".say")+`, `+urgent(0, ".reason")+`])`, 10*time.Second)
	var seen []string
	b.Eval(`window.seen`, &seen)
	said, height, left, second, reason := seen[0], seen[1], seen[2], seen[3], seen[4]
	// 80 m at 22 m/s with the drag of 0.09 m, 0.5 and 0.18 kg: between a fall
	// without drag (2.4 s, h = v t + g t²/2) and one at a steady 22 m/s (3.6 s).
	if said != "Look up! Rust ballistic" || height != "80 m" || left != "down in 3 s" && left != "down in 2 s" || second != "Teal coming down fast, look up" {
		t.Errorf("%q at %q %q, then %q", said, height, left, second)
	}
	if want := "Look up, point at it, move away from under it, and keep people behind cover until it is down."; reason != want {
		t.Errorf("beside live numbers it says %q, want %q", reason, want)
	}
	fall(31, 24)
	b.Until("the height as it is", urgent(0, ".big")+` === '31' && `+urgent(0, ".left")+` === 'down in 1 s'`, 5*time.Second)
	// Nothing more is heard: the seconds go on, and then the numbers are old.
	b.Until("the seconds to go on", urgent(0, ".left")+` === 'down any moment'`, 5*time.Second)
	b.Until("old numbers to be called so", `/^heard [2-9] s ago$/.test(`+urgent(0, ".speed")+`) && `+urgent(0, ".left")+` === ''`, 10*time.Second)
	for _, w := range widths {
		b.Size(w[0], w[1], 1, w[0] < 1000)
		fall(62, 24)
		publish("Teal", flight.Descent, 66, -4.5, func(s *flight.State) { s.Released = true })
		b.Until("numbers again", `/down in/.test(`+urgent(0, ".left")+`) && !board.fit.wanted`, 5*time.Second)
		b.Shot(fmt.Sprint("lookup-", w[0]))
		var got struct {
			Px, Bottom float64
			Wrapped    []string
			Wide       []string
		}
		b.Eval(`({ Px: parseFloat(getComputedStyle(document.querySelector('.urgent .big')).fontSize), Bottom: document.querySelector('.urgent .alarm').getBoundingClientRect().bottom,
			Wrapped: [...document.querySelectorAll('.height, .speed, .left')].filter((e) => e.checkVisibility() && [...new Set([...e.getClientRects()].map((r) => Math.round(r.top)))].length > 1).map((e) => e.innerText) })`, &got)
		if got.Px < 50 || got.Bottom > float64(w[1]) || len(got.Wrapped) > 0 {
			t.Errorf("at %d px: the height stands in %g px, the alarm ends at %g of %d, wrapped %q", w[0], got.Px, got.Bottom, w[1], got.Wrapped)
		}
		b.Eval(fmt.Sprintf(wideScript, w[0], w[1]), &got.Wide)
		for _, x := range got.Wide {
			t.Errorf("at %d px: %s", w[0], x)
		}
	}
	b.Click("#theme")
	b.Shot("lookup-dusk")
	b.Click(".fold")
	var order []string
	b.Eval(`[...document.querySelectorAll('.alarm .since')].map((e) => /over/.test(e.textContent) ? 'over' : 'on')`, &order)
	for i := range order[1:] {
		if order[i] == "over" && order[i+1] == "on" {
			t.Errorf("what is over stands before what goes on: %v", order)
		}
	}
	b.Quiet()
}
