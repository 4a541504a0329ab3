package web

import (
	"encoding/json"
	"html"
	"regexp"
	"testing"
	"time"

	"padlark/flight"
)

// The board's page carries the present picture, so that a page that was just
// loaded does not say that nothing was heard.
func TestBoardCarriesThePresent(t *testing.T) {
	v := newInvented()
	s, base := serve(t, v.options())
	st := stateOf("Teal", 31.4159)
	st.Phase, st.Heard = flight.Coast, time.Now()
	s.hub.apply(Message{State: st})
	s.hub.apply(Message{Alarm: alarmForTest()})
	status, _, body := ask(t, "GET", base+"/", "")
	m := regexp.MustCompile(`data-first="([^"]*)"`).FindSubmatch(body)
	if status != 200 || m == nil {
		t.Fatalf("status %d, no picture in %.400s", status, body)
	}
	var first struct {
		Hello  struct{ Now time.Time }
		Update struct {
			States []flight.State
			Alarms []flight.Alarm
		}
	}
	if err := json.Unmarshal([]byte(html.UnescapeString(string(m[1]))), &first); err != nil {
		t.Fatal(err)
	}
	u := first.Update
	if len(u.States) != 1 || u.States[0].Rocket != "Teal" || u.States[0].Phase != flight.Coast || *u.States[0].AltitudeM != 31.416 {
		t.Errorf("states in the page: %+v", u.States)
	}
	if len(u.Alarms) != 1 || u.Alarms[0].ID != alarmForTest().ID {
		t.Errorf("alarms in the page: %+v", u.Alarms)
	}
	if d := time.Since(first.Hello.Now); d < 0 || d > time.Minute {
		t.Errorf("the picture is %v old", d)
	}
}

// What rounds to zero has no sign; every other negative number has.
func TestQuantitySigns(t *testing.T) {
	for _, c := range []struct {
		v    float64
		sd   *float64
		want string
	}{
		{-0.04, nil, "0.0 m"}, {-0.06, nil, "\u22120.1 m"}, {-0.004, ptr(0.3), "0.0 ± 0.3 m"}, {-12, ptr(3.0), "\u221212 ± 3 m"}, {0.2, nil, "0.2 m"},
	} {
		if got := (reader{}).Num("height", &c.v, c.sd); got != c.want {
			t.Errorf("%g: %q, want %q", c.v, got, c.want)
		}
	}
}
