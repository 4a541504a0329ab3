package web

import (
	"net/http/httptest"
	"strings"
	"testing"
)

// TestListWhileWorkedOut: the list tells which flights are still being worked out and
// looks again by itself until none is; who opens one need not wait for the others.
func TestListWhileWorkedOut(t *testing.T) {
	v := recorded()
	_, base := serve(t, v.options())
	get := func(path string) string {
		code, _, body := ask(t, "GET", base+path, "")
		if code != 200 {
			t.Fatalf("GET %s: status %d: %s", path, code, body)
		}
		return string(body)
	}
	notice := func(p string) bool {
		return strings.Contains(p, "still being worked out, as after an update") && strings.Contains(p, `http-equiv="refresh"`)
	}
	whole := get("/flights")
	if notice(whole) {
		t.Error("it says that something is worked out, and nothing is")
	}
	v.waiting = "Teal"
	p := get("/flights")
	if !notice(p) || !strings.Contains(p, "look: still being worked out") && !strings.Contains(p, "still being worked out</") {
		t.Errorf("the list does not say what is being worked out:\n%s", p)
	}
	if a, b := strings.Count(whole, "curve-cell"), strings.Count(p, "curve-cell"); a != b || a == 0 {
		t.Errorf("%d flights are listed, %d when all are worked out", b, a)
	}
	for _, path := range []string{"/sessions", "/compare", strings.TrimPrefix(teal, "/api/v1")} {
		get(path)
	}
}

// TestListIsBounded: of a season of thousands the newest are listed, with the sums
// over all of them and a way to the rest.
func TestListIsBounded(t *testing.T) {
	list := flightList{Flights: make([]flightView, shownFirst+1)}
	for path, want := range map[string]int{"/flights?rocket=Teal": shownFirst, "/flights?rocket=Teal&all=1": shownFirst + 1} {
		shown, all := list.first(httptest.NewRequest("GET", path, nil))
		if len(shown) != want || (all == "/flights?all=1&rocket=Teal") != (want == shownFirst) {
			t.Errorf("%s: %d listed, the rest at %q", path, len(shown), all)
		}
	}
	list.Flights = list.Flights[1:]
	if shown, all := list.first(httptest.NewRequest("GET", "/flights", nil)); len(shown) != shownFirst || all != "" {
		t.Errorf("%d listed, the rest at %q", len(shown), all)
	}
}
