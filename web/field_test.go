package web

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"padlark/flight"
	"padlark/web/browsertest"
)

// browserField: the sketch stands where the numbers are (north up, east right, the
// ellipse turned as it lies), the words say the same, a phone's map opens the
// place, and the way from the phone to it is told.
func browserField(t *testing.T, browser *browsertest.Browser) {
	v := newInvented()
	opt := v.options()
	opt.Site = flight.Site{LatitudeDeg: ptr(52.0), LongitudeDeg: ptr(5.0), FieldRadiusM: 150, WindMps: 3, WindFromDeg: ptr(270.0)}
	_, base := serve(t, opt)
	b := browser.Tab(t, base)
	b.Size(1366, 768, 1, false)
	b.Open("/field")
	b.Until("what to do without positions", `document.querySelector('.sketch') && document.getElementById('no-place').checkVisibility()`, 10*time.Second)
	at := time.Now()
	fly := func(step int, phase flight.Phase) {
		st := stateOf("Teal", 60-10*float64(step))
		st.At, st.Heard, st.Phase, st.Flight, st.Released = at.Add(time.Duration(step)*time.Second), time.Now(), phase, 1, true
		east := 20 * float64(step)
		st.Position = &flight.Position{RangeM: east, BearingDeg: 90, EastM: east, LatitudeDeg: ptr(52.0), LongitudeDeg: ptr(5 + east/68455.0), SDM: 3, Source: flight.FromGPS}
		// 100 m east and 50 m north: 111.8 m at 63.4°.
		st.Landing = &flight.Landing{LatitudeDeg: ptr(52.00045), LongitudeDeg: ptr(5.00146), EastM: 100, NorthM: 50, RangeM: 111.8, BearingDeg: 63.4, AlongM: 30, AcrossM: 12, AngleDeg: 63, Source: flight.FromGPS}
		v.publish(Message{State: st})
	}
	for i := range 4 {
		fly(i, flight.Descent)
		b.Until("the step", fmt.Sprintf(`field.picture.states.get('Teal')?.position?.east_m === %d`, 20*i), 5*time.Second)
	}
	b.Until("the sketch", `document.querySelectorAll('.sketch .track').length === 1 && document.querySelectorAll('.sketch .lands').length === 1 && document.querySelector('.sketch .limit') && document.querySelector('.sketch .wind') && /60 m east/.test(document.getElementById('ways').innerText)`, 5*time.Second)
	words := b.Text("#ways")
	for _, want := range []string{"Teal", "60 m east (90°) of the pad", "Comes down 112 m north-east (63°) of the pad, ± 30 m"} {
		if !strings.Contains(words, want) {
			t.Errorf("%q does not say %q", words, want)
		}
	}
	var got struct {
		Geo        string
		Spot, Land [2]float64
		Turn       string
		Ring, R    float64
		Mid        float64
	}
	b.Eval(`(() => { const n = (el, ...names) => names.map((k) => Number(el.getAttribute(k))), q = (s) => document.querySelector('.sketch ' + s);
		return { Geo: document.querySelector('#ways a').getAttribute('href'), Spot: n(q('.spot'), 'cx', 'cy'), Land: n(q('.lands'), 'cx', 'cy'), Turn: q('.lands').getAttribute('transform'),
			Ring: Number(q('.ring-word').textContent.split(' ')[0]), R: Number(q('.ring').getAttribute('r')), Mid: Number(q('.ring').getAttribute('cx')) }; })()`, &got)
	px := got.R / got.Ring // a metre
	near := func(a, b float64) bool { return a-b < 0.6 && b-a < 0.6 }
	if got.Geo != "geo:52.000450,5.001460" || !near(got.Spot[0], got.Mid+60*px) || !near(got.Spot[1], got.Mid) || !near(got.Land[0], got.Mid+100*px) || !near(got.Land[1], got.Mid-50*px) || !strings.HasPrefix(got.Turn, "rotate(63 ") {
		t.Errorf("the sketch has %+v at %g px a metre", got, px)
	}
	b.Shot("field-1366")
	// The phone stands 111.2 m north of the pad (a degree of 111.195 km).
	b.Eval(`navigator.geolocation.watchPosition = (ok) => ok({ coords: { latitude: 52.001, longitude: 5, accuracy: 5 } })`, nil)
	b.Click("#locate")
	b.Until("the way from the phone", `/From you: 1\d\d m south-east \(1[0-9]{2}°\)/.test(document.getElementById('ways').innerText) && document.querySelector('.sketch .you')`, 5*time.Second)
	fly(5, flight.Landed)
	b.Until("the landing", `/Came down 112 m/.test(document.getElementById('ways').innerText)`, 5*time.Second)
	for _, w := range widths {
		b.Size(w[0], w[1], 1, w[0] < 1000)
		var wide []string
		b.Eval(fmt.Sprintf(wideScript, w[0], w[1]), &wide)
		for _, x := range wide {
			t.Errorf("at %d px: %s", w[0], x)
		}
		if w[0] == 390 {
			b.Shot("field-390")
			b.Click("#theme")
			b.Shot("field-390-dusk")
		}
	}
	// The board says the same of the place, with the way to a map.
	b.Open("/")
	b.Until("the place on the board", `/112 m north-east/.test(document.querySelector('.landed .where')?.innerText) && document.querySelector('.landed .map').getAttribute('href') === 'geo:52.000450,5.001460'`, 10*time.Second)
	b.Quiet()
}
