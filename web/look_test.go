package web

import (
	"context"
	"net/url"
	"os"
	"strings"
	"testing"
	"time"
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

// TestLook keeps pictures of every page at a phone's and a screen's size, for a
// person to look at. It takes a flight's time.
func TestLook(t *testing.T) {
	if os.Getenv("PADLARK_SCREENSHOTS") == "" {
		t.Skip("no folder for the pictures (PADLARK_SCREENSHOTS)")
	}
	v := recorded()
	_, base := serve(t, v.options())
	b := openTab(t, openBrowser(t), base)
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() {
		defer close(done)
		v.fly(ctx, "live", time.Now().UTC(), 1,
			hop{rocket: "Teal", link: "pad-radio", pad: 8, after: 60, speed: 40, sink: 5, cell: 3.95},
			hop{rocket: "Rust", link: "pad-radio", pad: 12, after: 60, speed: 44, ballistic: true, cell: 3.42},
			hop{rocket: "Plum", link: "field-udp", pad: 80, noFlight: true, cell: 4.05})
	}()
	defer func() { cancel(); <-done }()

	both := func(name string) {
		b.size(1920, 1080, 1, false)
		b.shot(name + "-1920")
		b.size(390, 844, 2, true)
		b.shot(name + "-390")
	}
	b.open("/")
	b.until("rockets on the pad", `document.querySelectorAll('.card.waiting[data-go]').length === 3 && board.picture.states.size === 3`, 10*time.Second)
	both("board-pad")
	b.until("a rocket in the air", `document.querySelector('.card.flying')`, 20*time.Second)
	both("board-boost")
	b.until("an alarm", `document.querySelector('.alarm.p1')`, 25*time.Second)
	both("board-alarm")
	b.until("a rocket down", `document.querySelector('.card.landed')`, 60*time.Second)
	both("board-down")
	id := url.PathEscape("20250614-093000-efgh~Teal~1")
	for name, path := range map[string]string{
		"flights": "/flights", "sessions": "/sessions", "links": "/links", "clock": "/clock", "signin": "/signin",
		"report": "/flights/" + id + "/report", "missing": "/nowhere",
	} {
		b.open(path)
		if name == "links" {
			b.until("frames", `document.querySelectorAll('#raw tr').length > 5`, 10*time.Second)
		}
		both(name)
	}
	b.size(1920, 1080, 1, false)
	b.open("/flights/" + id)
	b.until("plots", `window.flightReady`, 10*time.Second)
	both("flight")
	b.open("/compare?flight=" + id + "&flight=" + url.QueryEscape("20250613-150000-abcd~Teal~1"))
	b.until("lines", `document.querySelectorAll('#spread tr').length === 1`, 10*time.Second)
	both("compare")
	b.open("/sessions/20250614-093000-efgh?at_s=30")
	b.until("the replay's picture", `document.querySelector('.card.flying')`, 10*time.Second)
	both("replay")
	b.eval(`document.getElementById("theme").click()`, nil)
	both("replay-dusk")
	for _, p := range b.problemList() {
		if !strings.Contains(p, "/nowhere") { // that one was asked for
			t.Errorf("in the page: %s", p)
		}
	}
}
