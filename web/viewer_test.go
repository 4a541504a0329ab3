package web

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"padlark/flight"
)

// An update is written by hand; encoding/json says what it must be.
func TestUpdateIsJSON(t *testing.T) {
	raw := func(v ...string) (out []json.RawMessage) {
		for _, s := range v {
			out = append(out, encode(s))
		}
		return out
	}
	at := time.Date(2025, 6, 14, 9, 30, 0, 125_000_000, time.UTC)
	for name, u := range map[string]updateView{
		"nothing": {Now: at},
		"all": {Now: at.Add(time.Nanosecond), States: raw("a<b", "c"), Alarms: raw("d"), Events: raw("e", "f", "\u2028"), Links: raw("g"),
			Frames: []frameView{{Link: "pad-radio", N: 3, Heard: at, Hex: "00ff", Text: "&"}}},
		"states only": {Now: at.In(time.FixedZone("", 7200)), States: raw("a")},
	} {
		want, err := json.Marshal(u)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(string(want), string(u.appendJSON(nil))); d != "" {
			t.Errorf("%s (-want +got)\n%s", name, d)
		}
	}
}

// With many rockets states wait a little for each other; what people wait for
// does not.
func TestCrowdWaits(t *testing.T) {
	v := newInvented()
	opt := v.options()
	_, base := serve(t, opt)
	publish := func() {
		for i := range crowd {
			v.publish(Message{State: stateOf(fmt.Sprintf("Rocket %02d", i), 1)})
		}
	}
	for what, p := range map[string]picture{"alarm": {alarms: []json.RawMessage{nil}}, "event": {events: []json.RawMessage{nil}}, "link": {links: []json.RawMessage{nil}}} {
		if p.onlyStates() {
			t.Errorf("an %s would wait", what)
		}
	}
	publish()
	body := follow(t, base+"/api/v1/live?hz=20")
	begin, last, least := time.Now(), time.Time{}, time.Hour
	updates := 0
	readEvents(t, body, func(e sse) bool {
		if e.name == "update" {
			if now := time.Now(); updates > 1 {
				least = min(least, now.Sub(last))
			}
			last = time.Now()
			updates++
			publish()
		}
		return time.Since(begin) < 1500*time.Millisecond
	})
	// A reader that was held up sees two close together; on the whole the rate counts.
	if most := int(time.Since(begin)/crowdEvery) + 2; updates > most {
		t.Errorf("%d updates in %v, at most %d were wanted; the closest were %v apart", updates, time.Since(begin), most, least)
	}
}

// nowhere is a viewer that takes everything and keeps nothing.
type nowhere struct{ header http.Header }

func (n nowhere) Header() http.Header            { return n.header }
func (nowhere) WriteHeader(int)                  {}
func (nowhere) Write(b []byte) (int, error)      { return len(b), nil }
func (nowhere) Flush()                           {}
func (nowhere) SetWriteDeadline(time.Time) error { return nil }
func (nowhere) FlushError() error                { return nil }

// BenchmarkViewer is what one update of 32 rockets costs for one viewer.
func BenchmarkViewer(b *testing.B) {
	h := newHub(nil)
	for i := range 32 {
		st := stateOf(fmt.Sprintf("Rocket %02d", i), 1)
		st.Phase = flight.Descent
		h.apply(Message{State: st})
	}
	r := httptest.NewRequestWithContext(context.Background(), "GET", "/api/v1/live", nil)
	r.Header.Set("Accept-Encoding", "gzip")
	out := newEventWriter(nowhere{http.Header{}}, r)
	for b.Loop() {
		p := h.since(0)
		if err := out.update(updateView{Now: time.Unix(0, 0), States: p.states}); err != nil {
			b.Fatal(err)
		}
	}
}
