package web

import (
	"fmt"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"padlark/flight"
	"padlark/web/browsertest"
)

// browserSorted: the line above says what the cards say; the card of the rocket that calls for eyes stands first, every
// card has its trace, and what is folded away says what it is.
func browserSorted(t *testing.T, browser *browsertest.Browser) {
	v := newInvented()
	_, base := serve(t, v.options())
	b := browser.Tab(t, base)
	b.Open("/")
	put := func(name string, phase flight.Phase, height float64) {
		for i := range 3 {
			st := stateOf(name, height+float64(i))
			st.Heard = time.Now()
			st.At, st.Phase, st.HighestM = st.Heard.Add(time.Duration(i-3)*time.Second), phase, ptr(60.0)
			v.publish(Message{State: st})
		}
	}
	put("Plum", flight.Waiting, 0)
	b.Until("Plum not ready", `document.querySelector('[data-rocket=Plum]').dataset.go === 'notyet'`, 10*time.Second)
	ready := stateOf("Plum", 0)
	ready.Heard, ready.Phase, ready.Go = time.Now(), flight.Waiting, true
	v.publish(Message{State: ready})
	var said string
	b.Eval(`new Promise((done) => { (function look() {
		if (document.querySelector('[data-rocket=Plum]').dataset.go !== 'go') return requestAnimationFrame(look);
		done(document.querySelector('.answer-words').textContent); })(); })`, &said)
	if said != "Nothing in the air. Ready: Plum" {
		t.Errorf("while Plum's card says go, the line above says %q", said)
	}
	put("Teal", flight.Descent, 40)
	put("Rust", flight.Descent, 50)
	put("Sand", flight.Landed, 0)
	names := func() []string {
		var list []string
		b.Eval(`[...document.querySelectorAll('#zone-air .card')].map((c) => c.dataset.rocket)`, &list)
		return list
	}
	b.Until("four cards", `document.querySelectorAll('.card').length === 4`, 10*time.Second)
	if got := names(); !slices.Equal(got, []string{"Teal", "Rust"}) {
		t.Errorf("without an alarm the cards stand as %v", got)
	}
	b.Until("a trace on every card", `[...document.querySelectorAll('.card .trace canvas')].length === 4 &&
		[...document.querySelectorAll('.card .trace canvas')].every((c) => c.getContext('2d').getImageData(0, 0, c.width, c.height).data.some((v) => v > 0))`, 10*time.Second)
	a := alarmForTest()
	a.Rocket, a.Priority, a.Active, a.Acked = "Rust", flight.LookUp, true, false
	v.publish(Message{Alarm: a})
	b.Until("the alarm", `document.querySelector('.alarm.p1')`, 10*time.Second)
	if got := names(); !slices.Equal(got, []string{"Rust", "Teal"}) {
		t.Errorf("with an alarm about Rust the cards stand as %v", got)
	}
	over := *a
	over.Active, over.Change = false, a.Change+1
	v.publish(Message{Alarm: &over})
	b.Until("the alarm folded away", `!document.querySelector('.fold').hidden`, 10*time.Second)
	if got := b.Text(".fold"); !strings.HasPrefix(got, "1 alarm: Over:") {
		t.Errorf("what is folded away reads %q", got)
	}
	b.Quiet()
}

// browserReading: with keys alone a person zooms a plot, moves its cursor and
// gets the frames behind it; the values stay in sight; changing the unit changes
// every number on the page.
func browserReading(t *testing.T, browser *browsertest.Browser) {
	v := recorded()
	_, base := serve(t, v.options())
	b := browser.Tab(t, base)
	b.Size(1920, 1080, 1, false)
	b.Open("/flights/" + url.PathEscape("20250614-093000-efgh~Teal~1"))
	b.Until("the plots", `window.flightReady`, 10*time.Second)
	b.Eval(`document.querySelector('.plot canvas').focus()`, nil)
	label := func() string {
		var s string
		b.Eval(`new Promise((r) => requestAnimationFrame(() => requestAnimationFrame(() => r(document.querySelector('.plot canvas').getAttribute('aria-label')))))`, &s)
		return s
	}
	whole := label()
	for _, key := range []string{"Left", "Left", "+", "+"} {
		b.Press(key)
	}
	if got := label(); got == whole {
		t.Errorf("two + on a plot change nothing: %q", got)
	}
	b.Press("Enter")
	b.Until("the frames behind the cursor", `document.querySelector('#frames .chosen')`, 10*time.Second)
	var seen bool
	b.Eval(`(() => { const c = document.getElementById('cursor').getBoundingClientRect(), p = document.querySelector('.plot canvas').getBoundingClientRect();
		return c.top >= 0 && c.bottom <= innerHeight && p.top < innerHeight && c.bottom <= p.top; })()`, &seen)
	if got := b.Text("#cursor"); !seen || !strings.Contains(got, "height ") || !strings.Contains(got, " m ") {
		t.Errorf("the cursor reads %q, in sight above its plot: %v", got, seen)
	}
	b.Click("#units")
	b.Until("every height in feet", `[...document.querySelectorAll('#events li')].some((l) => / ft/.test(l.textContent)) &&
		![...document.querySelectorAll('#events li:not(.was-alarm)')].some((l) => / m( |$)/.test(l.textContent))`, 5*time.Second)
	if got := label(); !strings.Contains(got, "in ft") {
		t.Errorf("the plot says %q", got)
	}
	b.Quiet()
}

// What comes after a landing does not push the flight out of a trace.
func TestTraceKeepsTheFlight(t *testing.T) {
	var tr trace
	at := inventedEpoch
	for i := range 4000 {
		st := stateOf("Teal", 0)
		st.At, st.Phase = at.Add(time.Duration(i)*100*time.Millisecond), flight.Waiting
		switch {
		case i > 300:
			st.Phase = flight.Landed
		case i > 100:
			st.Phase, st.AltitudeM = flight.Coast, ptr(float64(i))
		}
		tr.add(st)
	}
	last := time.UnixMilli(tr.t[len(tr.t)-1]).Sub(at.Add(30 * time.Second))
	if slices.Max(tr.h) != 300 || last > groundAfter+traceEvery {
		t.Errorf("the trace reaches %g m and goes on for %v after the landing", slices.Max(tr.h), last)
	}
	st := stateOf("Teal", 1)
	st.At, st.Phase = at.Add(500*time.Second), flight.Waiting
	tr.add(st)
	if tr.t[len(tr.t)-1] != st.At.UnixMilli() {
		t.Error("a rocket that is on the pad again has no trace")
	}
}

func TestSizeWords(t *testing.T) {
	for n, want := range map[uint64]string{0: "0 bytes", 999: "999 bytes", 228_400: "228 kB", 1_250_000: "1.2 MB", 48_600_000: "49 MB"} {
		if got := sizeWords(n); got != want {
			t.Errorf("%d: %q, want %q", n, got, want)
		}
	}
}

// The picture on a report shows the flight and not the waiting around it, and no
// label stands on another.
func TestReportPicture(t *testing.T) {
	c := &Course{}
	for s := -60.0; s <= 90; s += 0.5 {
		c.T, c.HeightM, c.HeightSD = append(c.T, s), append(c.HeightM, max(0, 60-(s-4)*(s-4))), append(c.HeightSD, 0.5)
	}
	res := flight.Result{Rocket: "Teal", Flight: 1, BurnoutS: ptr(0.4), TimeToApogeeS: ptr(4.0), ReleaseLagS: ptr(0.3), DurationS: ptr(20.0)}
	svg := string(flightPicture(res, c, nil, reader{}).SVG())
	if strings.Contains(svg, ">-20<") || strings.Contains(svg, ">80<") || !strings.Contains(svg, ">20<") {
		t.Errorf("the time axis goes beyond the flight: %.300s", svg)
	}
	type box struct {
		x, y float64
		name string
	}
	var boxes []box
	for _, part := range strings.Split(svg, "<text ")[1:] {
		var m box
		if n, _ := fmt.Sscanf(part, `x="%f" y="%f"`, &m.x, &m.y); n != 2 {
			t.Fatalf("a text has no place: %.80s", part)
		}
		m.name = part[strings.Index(part, ">")+1 : strings.Index(part, "<")]
		if slices.Contains([]string{"liftoff", "burnout", "apogee", "release", "touchdown"}, m.name) {
			boxes = append(boxes, m)
		}
	}
	if len(boxes) != 5 {
		t.Fatalf("%d labels, want 5: %v", len(boxes), boxes)
	}
	for i, a := range boxes {
		for _, o := range boxes[i+1:] {
			if a.y == o.y && a.x < o.x+4.7*float64(len(o.name)) && o.x < a.x+4.7*float64(len(a.name)) {
				t.Errorf("%q stands on %q", a.name, o.name)
			}
		}
	}
}
