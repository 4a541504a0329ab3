package web

import (
	"encoding/json"
	"slices"
	"strings"
	"testing"
	"time"

	"padlark/flight"
)

// TestVoidOnPages: a flight that a person takes for none leaves the lists, its
// own page stays and has the button that counts it again.
func TestVoidOnPages(t *testing.T) {
	_, s, base := live(t)
	token := []string{tokenHeader, s.gate.openToken, "Content-Type", "application/json"}
	page := strings.TrimPrefix(teal, "/api/v1")
	get := func(path string) string {
		code, _, body := ask(t, "GET", base+path, "")
		if code != 200 {
			t.Fatalf("GET %s: status %d", path, code)
		}
		return string(body)
	}
	say := func(body string) {
		if code, _, answer := ask(t, "POST", base+teal+"/void", body, token...); code != 200 {
			t.Fatalf("POST %s: status %d: %s", body, code, answer)
		}
	}
	if p := get(page); !strings.Contains(p, "It was no flight") || strings.Contains(p, "count it again") {
		t.Error("the page of a flight has no button to take it for none")
	}
	counted := strings.Count(get("/api/v1/flights"), `"verdict"`)
	say(`{"void":true,"why":"<b>a bump</b>"}`)
	if n := strings.Count(get("/api/v1/flights"), `"verdict"`); n != counted-1 {
		t.Errorf("%d flights are listed, %d before", n, counted)
	}
	if p := get("/flights"); !strings.Contains(p, "Taken for no flights") || strings.Contains(p, "<b>a bump") {
		t.Error("the flights page does not name the void flight, or as markup")
	}
	if p := get(page); !strings.Contains(p, "count it again") || !strings.Contains(p, `data-void="false"`) {
		t.Error("the page of a void flight has no button to count it again")
	}
	say(`{"void":false}`)
	if p := get("/flights"); strings.Contains(p, "Taken for no flights") {
		t.Error("the flight still stands among those that are none")
	}
	for _, body := range []string{`{"void":1}`, `{"why":"x"`, `{"void":true,"why":"` + strings.Repeat("x", longestWhy+1) + `"}`} {
		if code, _, _ := ask(t, "POST", base+teal+"/void", body, token...); code != 400 {
			t.Errorf("POST %.40s: status %d, want 400", body, code)
		}
	}
	if code, _, _ := ask(t, "POST", base+teal+"/void", `{"void":true}`, "Content-Type", "application/json"); code != 403 {
		t.Errorf("without the page's token: status %d, want 403", code)
	}
}

// TestReplayWithoutVoid: a replay shows nothing of a flight that was taken for
// none, and goes over a silence of years at once.
func TestReplayWithoutVoid(t *testing.T) {
	v := recorded()
	s, _ := serve(t, v.options())
	shown := func(one Session, atS float64) (teal, others int) {
		t.Helper()
		p, err := s.newPlayer(t.Context(), one, atS, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range p.hub.events {
			var of flight.Event
			if err := json.Unmarshal(e.json, &of); err != nil {
				t.Fatal(err)
			}
			if of.Rocket == "Teal" && of.Flight == 1 {
				teal++
			} else {
				others++
			}
		}
		return teal, others
	}
	one, err := s.session(t.Context(), day)
	if err != nil {
		t.Fatal(err)
	}
	teal, others := shown(one, 1e6)
	if teal == 0 || others == 0 {
		t.Fatalf("%d events of Teal's flight, %d others", teal, others)
	}
	if err := v.SetVoid(t.Context(), FlightID{day, "Teal", 1}, true, "a bump", time.Time{}); err != nil {
		t.Fatal(err)
	}
	if a, b := shown(one, 1e6); a != 0 || b != others {
		t.Errorf("void: %d events of Teal's flight, want 0; %d others, want %d", a, b, others)
	}

	// Long after the last frame, as where a clock has leapt.
	last := *one.Last
	far := last.Add(50 * 365 * 24 * time.Hour)
	one.Last, one.Gaps = &far, append(slices.Clone(one.Gaps), Gap{From: last, To: far})
	begun := time.Now()
	shown(one, far.Sub(one.Epoch).Seconds())
	if took := time.Since(begun); took > 5*time.Second {
		t.Errorf("a silence of 50 years took %v", took)
	}
}
