package web

import (
	"encoding/json"
	"fmt"
	"testing"
	"time"

	"padlark/flight"
	"padlark/ingest"
	"padlark/web/browsertest"
)

func alarmOf(rocket, kind string, p flight.Priority, n int) *flight.Alarm {
	at := inventedEpoch.Add(time.Duration(n) * time.Second)
	return &flight.Alarm{Session: "s", ID: fmt.Sprintf("%s/%s/%d", rocket, kind, n), Change: 1, Rocket: rocket, Kind: kind, Priority: p, Active: true,
		RaisedAt: at, ChangedAt: at, Say: rocket + " " + kind, Reason: "It does."}
}

// Rockets that nobody configured take no room from those that are: neither
// their states nor their alarms do.
func TestGuestsTakeNoRoom(t *testing.T) {
	v := newInvented()
	s, base := serve(t, v.options())
	for i := range 2000 {
		name := fmt.Sprintf("id-%d", 1000+i)
		v.publish(Message{State: stateOf(name, 1)})
		v.publish(Message{Alarm: alarmOf(name, "ballistic", flight.LookUp, 1)})
		v.publish(Message{Alarm: alarmOf(name, "servo-range", flight.Act, 1)})
	}
	v.publish(Message{State: stateOf("Teal", 1)})
	v.publish(Message{State: stateOf("Teal (2)", 1)})
	v.publish(Message{Alarm: alarmOf("Teal", "weak-signal", flight.Know, 1)})
	if s.hub.rockets["Teal"] == nil || s.hub.rockets["Teal (2)"] == nil || len(s.hub.rockets) > 70 {
		t.Fatalf("%d rockets are kept, Teal among them: %v", len(s.hub.rockets), s.hub.rockets["Teal"] != nil)
	}
	_, _, body := ask(t, "GET", base+"/api/v1/alarms", "")
	var got []flight.Alarm
	if err := json.Unmarshal(body, &got); err != nil || len(got) != guestAlarms+1 {
		t.Fatalf("%d alarms are told: %v", len(got), err)
	}
	if got[0].Rocket != "Teal" || got[1].Kind != "ballistic" {
		t.Errorf("first comes %s of %s, then %s", got[0].Kind, got[0].Rocket, got[1].Kind)
	}
	// A viewer hears of ours alone.
	p := s.hub.since(0)
	if !p.crowded || len(p.states) != 2 || len(p.alarms) != 1 {
		t.Errorf("crowded %v, %d states, %d alarms", p.crowded, len(p.states), len(p.alarms))
	}
}

// Of ours, what is least urgent gives way.
func TestUrgentAlarmsStay(t *testing.T) {
	h := newHub([]flight.Rocket{{Name: "Teal"}})
	h.apply(Message{Alarm: alarmOf("Teal", "ballistic", flight.LookUp, 0)})
	for i := range 2 * keepAlarms {
		h.apply(Message{Alarm: alarmOf("Teal", "losses", flight.Know, i)})
	}
	h.apply(Message{Alarm: alarmOf("Teal", "ballistic", flight.LookUp, 2)})
	if len(h.alarms) != keepAlarms || h.alarm("Teal/ballistic/0") == nil || h.alarm("Teal/ballistic/2") == nil {
		t.Errorf("%d alarms, ballistic among them: %v, %v", len(h.alarms), h.alarm("Teal/ballistic/0"), h.alarm("Teal/ballistic/2"))
	}
}

// Many unknown ids are one line, and ours stands alone.
func browserGuests(t *testing.T, browser *browsertest.Browser) {
	v := newInvented()
	_, base := serve(t, v.options())
	b := browser.Tab(t, base)
	b.Open("/")
	one := stateOf("id-99", 3)
	one.Phase = flight.Waiting
	v.publish(Message{State: one})
	b.Until("the card of the only guest", `document.querySelector('[data-rocket="id-99"]')`, 5*time.Second)
	v.publish(Message{Health: &ingest.Health{Link: "evil-udp", State: "up", Guests: 257}})
	for i := range 40 {
		name := fmt.Sprintf("id-%d", 1000+i)
		v.publish(Message{State: stateOf(name, 30)})
		v.publish(Message{Alarm: alarmOf(name, "ballistic", flight.LookUp, 1)})
	}
	v.publish(Message{State: stateOf("Teal", 30)})
	v.publish(Message{Alarm: alarmOf("Teal", "ballistic", flight.LookUp, 1)})
	b.Until("the line", `document.getElementById('guests').innerText === '257 unknown ids on evil-udp'`, 5*time.Second)
	b.Until("ours alone", `document.querySelectorAll('.alarm.p1').length === 1 && document.querySelector('.alarm.p1').innerText.includes('Teal')`, 5*time.Second)
	b.Until("no card of a guest", `!document.querySelector('[data-rocket^="id-"]')`, 5*time.Second)
	b.Quiet()
}
