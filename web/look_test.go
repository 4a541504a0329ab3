package web

import (
	"context"
	"net/url"
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

// TestLook keeps pictures of every page at a phone's and a screen's size, for a
// person to look at. It takes a flight's time.
func TestLook(t *testing.T) {
	if !browsertest.Pictures() {
		t.Skip("no folder for the pictures (PADLARK_SCREENSHOTS)")
	}
	v := recorded()
	_, base := serve(t, v.options())
	b := browsertest.Start(t).Tab(t, base)
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

	b.Open("/")
	b.Until("rockets on the pad", `document.querySelectorAll('.card.waiting[data-go]').length === 3 && board.picture.states.size === 3`, 10*time.Second)
	b.Shots("board-pad")
	b.Until("a rocket in the air", `document.querySelector('.card.flying')`, 20*time.Second)
	b.Shots("board-boost")
	b.Until("an alarm", `document.querySelector('.alarm.p1')`, 25*time.Second)
	b.Shots("board-alarm")
	b.Until("a rocket down", `document.querySelector('.card.landed')`, 60*time.Second)
	b.Shots("board-down")
	id := url.PathEscape("20250614-093000-efgh~Teal~1")
	for name, path := range map[string]string{
		"flights": "/flights", "sessions": "/sessions", "links": "/links", "clock": "/clock", "signin": "/signin",
		"report": "/flights/" + id + "/report", "missing": "/nowhere",
	} {
		b.Open(path)
		if name == "links" {
			b.Until("frames", `document.querySelectorAll('#raw tr').length > 5`, 10*time.Second)
		}
		b.Shots(name)
	}
	b.Size(1920, 1080, 1, false)
	b.Open("/flights/" + id)
	b.Until("plots", `window.flightReady`, 10*time.Second)
	b.Shots("flight")
	b.Open("/compare?flight=" + id + "&flight=" + url.QueryEscape("20250613-150000-abcd~Teal~1"))
	b.Until("lines", `document.querySelectorAll('#spread tr').length === 1`, 10*time.Second)
	b.Shots("compare")
	b.Open("/sessions/20250614-093000-efgh?at_s=30")
	b.Until("the replay's picture", `document.querySelector('.card.flying')`, 10*time.Second)
	b.Shots("replay")
	b.Eval(`document.getElementById("theme").click()`, nil)
	b.Shots("replay-dusk")
	b.Quiet("/nowhere") // that one was asked for
}
