package web

import (
	"testing"
	"time"

	"padlark/flight"
	"padlark/flight/phrase"
	"padlark/web/browsertest"
)

// browserLanguages: the board speaks as the browser asks: alarms, what keeps a rocket
// from flying, and its own words. It keeps pictures, and nothing is cut off.
func browserLanguages(t *testing.T, browser *browsertest.Browser) {
	for _, l := range phrase.Languages()[1:] {
		v := recorded()
		_, base := serve(t, ofEveryState(v.options()))
		b := browser.Tab(t, base)
		b.Language(string(l))
		b.Size(390, 844, 2, true)
		b.Open("/")
		everyState(v)
		to := phrase.Reader{Language: l}
		a := alarmForTest()
		a.ID, a.Rocket, a.Kind, a.Active, a.Acked, a.Priority = "language", "notyet", "hung", true, false, flight.LookUp
		a.RaisedAt = time.Now()
		a.SayPhrase = phrase.Of("hung.say", phrase.Word("rocket", "notyet"))
		a.ReasonPhrase = phrase.Of("hung", phrase.Word("rocket", "notyet"), phrase.Qty("height", 6.5, 1, "m"))
		v.publish(Message{Alarm: a})
		st := stateOf("notyet", 2)
		st.Heard, st.Phase, st.NotYet = time.Now().Add(time.Hour), flight.Waiting, []string{"not heard"}
		st.NotYetPhrases = []phrase.Phrase{phrase.Of("pad.not-armed")}
		v.publish(Message{State: st})
		for what, text := range map[string]string{
			".urgent .reason": to.Write(a.ReasonPhrase, ""), "[data-rocket=notyet] .reasons": to.Write(st.NotYetPhrases[0], ""),
			"[data-rocket=notyet] .word": to.Say("Not yet"), "#h-air": to.Say("In the air"), ".alarm .ack": to.Say("Acknowledge"),
		} {
			b.Until(what+" in "+string(l), `[...document.querySelectorAll(`+string(encode(what))+`)].some((e) => e.textContent === `+string(encode(text))+`)`, 10*time.Second)
		}
		b.Shots("board-" + string(l))
		var cut []string
		b.Eval(cutScript, &cut)
		for _, c := range cut {
			t.Errorf("in %s: %s", l, c)
		}
		for _, page := range everyPage()[1:] {
			if !browsertest.Pictures() && page.name != "flight" {
				continue // the texts of all are looked for in the templates
			}
			b.Open(page.path)
			if page.name == "links" {
				flying(t, v, 0, 1, hop{rocket: "Teal", link: "pad-radio", pad: 300, noFlight: true, cell: 4})
			}
			b.Until(page.name, page.ready, 10*time.Second)
			b.Shots(page.name + "-" + string(l))
			cut = nil
			b.Eval(cutScript, &cut)
			for _, c := range cut {
				t.Errorf("%s in %s: %s", page.path, l, c)
			}
		}
		b.Quiet("/nowhere") // that one was asked for
	}
}
