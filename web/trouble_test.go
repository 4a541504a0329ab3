package web

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"padlark/flight"
	"padlark/web/browsertest"
)

// logLines keeps what a server logs.
type logLines struct{ strings.Builder }

// What a page reports is counted and logged once in a while, as plain text.
func TestTroubleReported(t *testing.T) {
	var lines logLines
	opt := newInvented().options()
	opt.Log = zerolog.New(&lines)
	s, base := serve(t, opt)
	for range 3 {
		code, _, body := ask(t, "POST", base+"/api/v1/trouble", `{"page":"/","errors":2,"last":"red \u001b[31m words"}`,
			tokenHeader, s.gate.openToken, "Content-Type", "application/json")
		if code != 204 {
			t.Fatalf("status %d: %s", code, body)
		}
	}
	if got := strings.Count(lines.String(), "NOT LIVE"); got != 1 {
		t.Errorf("logged %d times:\n%s", got, lines.String())
	}
	if strings.Contains(lines.String(), `\u001b`) {
		t.Errorf("an escape is in the log: %s", lines.String())
	}
	_, _, body := ask(t, "GET", base+"/metrics", "")
	if !strings.Contains(string(body), "padlark_web_page_errors_total 3") {
		t.Error("/metrics does not count three reports")
	}
}

// Numbers that JSON has no form for are unknown to the viewer, and take nothing
// else with them.
func TestPictureOfAnyNumber(t *testing.T) {
	v := newInvented()
	s, base := serve(t, v.options())
	good := 12.5
	for name, bad := range map[string]float64{"nan": math.NaN(), "inf": math.Inf(1), "huge": 1e308, "minus": -math.MaxFloat64} {
		v.publish(Message{State: &flight.State{Session: "one", Rocket: name, AltitudeM: &bad, TempC: &bad, Latitude: &bad, CellV: &good}})
	}
	v.publish(Message{State: &flight.State{Session: "one", Rocket: "late", At: time.Date(40000, 1, 1, 0, 0, 0, 0, time.UTC), CellV: &good}})
	v.publish(Message{State: &flight.State{Session: "one", Rocket: "Teal", AltitudeM: &good}})
	// An alarm whose time cannot be written is left out and counted.
	v.publish(Message{Alarm: &flight.Alarm{Session: "one", ID: "Rust/ballistic/1", Rocket: "Rust", Active: true, RaisedAt: time.Date(40000, 1, 1, 0, 0, 0, 0, time.UTC)}})
	v.publish(Message{Alarm: &flight.Alarm{Session: "one", ID: "Teal/ballistic/1", Rocket: "Teal", Active: true}})
	p := s.hub.since(0)
	if len(p.states) != 6 || len(p.alarms) != 1 {
		t.Fatalf("%d states and %d alarms are shown", len(p.states), len(p.alarms))
	}
	for _, raw := range p.states {
		if string(raw) == "null" || !json.Valid(raw) {
			t.Errorf("a viewer gets %s", raw)
		}
	}
	if _, tally, _ := s.hub.status(); tally.Unshown != 1 {
		t.Errorf("%d are counted as not shown", tally.Unshown)
	}
	for _, path := range []string{"/api/v1/rockets", "/api/v1/alarms", "/api/v1/links", "/"} {
		if code, _, body := ask(t, "GET", base+path, ""); code != 200 || path != "/" && !json.Valid(body) {
			t.Errorf("%s: status %d: %.200s", path, code, body)
		}
	}
}

// Nothing but this can make a page throw: a picture that no station sends. Each
// part of it fails by itself, the alarm stands, and the page says NOT LIVE.
func browserThrown(t *testing.T, browser *browsertest.Browser) {
	v := newInvented()
	s, base := serve(t, v.options())
	b := browser.Tab(t, base)
	b.Open("/")
	b.Until("the stream", `board.stream.offset !== null`, 5*time.Second)
	poison := func(key string, values map[string]string) {
		s.hub.mu.Lock()
		defer s.hub.mu.Unlock()
		s.hub.version++
		e := &rocketEntry{version: s.hub.version, state: &flight.State{Rocket: key, Phase: flight.Descent}}
		e.brief.version = e.version
		for name, v := range values {
			e.brief.fields = append(e.brief.fields, field{name: name, value: json.RawMessage(v), version: e.version})
		}
		s.hub.rockets[key] = e
	}
	alt := 30.0
	v.publish(Message{State: &flight.State{Session: "one", Rocket: "Teal", Phase: flight.Descent, AltitudeM: &alt, At: time.Now(), Heard: time.Now()}})
	poison("null", map[string]string{"phase": "null", "at": "null", "not_yet": "null"})
	poison("odd", map[string]string{"phase": `"waiting"`, "altitude_m": `"high"`, "not_yet": "3", "at": fmt.Sprint(time.Now().UnixMilli()), "late": "0", "link": "{}"})
	v.publish(Message{Alarm: &flight.Alarm{Session: "one", ID: "Teal/ballistic/1", Rocket: "Teal", Kind: "ballistic", Priority: flight.LookUp,
		Active: true, RaisedAt: time.Now(), ChangedAt: time.Now(), Say: "Look up: Teal", Reason: "It falls."}})
	b.Until("the alarm", `document.querySelector('#alarms .p1 .say')?.textContent === 'Look up: Teal'`, 5*time.Second)
	b.Until("the card of the other rocket", `document.querySelector('#zone-air [data-rocket="Teal"] .big')?.textContent.startsWith('30')`, 5*time.Second)
	b.Until("NOT LIVE", `document.getElementById('page-trouble')?.textContent.startsWith('NOT LIVE')`, 5*time.Second)
	b.Eval(`(async () => {
		for (;;) {
			const told = await (await fetch('/metrics')).text();
			if (/page_errors_total [1-9]/.test(told)) return;
			await new Promise((again) => setTimeout(again, 20));
		}
	})()`, nil) // until the report has been counted
}
