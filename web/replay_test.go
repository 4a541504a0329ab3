package web

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"padlark/flight"
	"padlark/storage"
)

const day = "20250614-093000-efgh"

// TestReplayTellsTheSameStory: the events and alarms of a replay from the start
// are those of the session, and the last states too.
func TestReplayTellsTheSameStory(t *testing.T) {
	v := recorded()
	_, base := serve(t, v.options())
	events, alarms := map[string]flight.Event{}, map[string]flight.Alarm{}
	states := map[string]flight.State{}
	ended := false
	readEvents(t, follow(t, base+"/api/v1/sessions/"+day+"/replay?speed=64&hz=20"), func(e sse) bool {
		switch e.name {
		case "hello":
			var h helloView
			if err := json.Unmarshal(e.data, &h); err != nil || h.Replay == nil || !h.Replay.From.Equal(inventedEpoch) || h.Replay.Speed != 64 {
				t.Errorf("hello %s (%v)", e.data, err)
			}
		case "update":
			var u struct {
				Now    time.Time
				States []flight.State
				Events []flight.Event
				Alarms []flight.Alarm
			}
			if err := json.Unmarshal(e.data, &u); err != nil {
				t.Fatal(err)
			}
			for _, x := range u.States {
				states[x.Rocket] = x
			}
			for _, x := range u.Events {
				events[x.ID] = x
			}
			for _, x := range u.Alarms {
				alarms[x.ID] = x
			}
		case "end":
			ended = true
		}
		return e.name != "end"
	})
	if !ended {
		t.Error("the replay did not end")
	}
	want := map[string]flight.Event{}
	for _, e := range v.events[day] {
		want[e.ID] = e
	}
	if d := cmp.Diff(want, events); d != "" {
		t.Errorf("events (-session +replay)\n%s", d)
	}
	// The replay runs on for a second of silence after the last frame, so new
	// changes may come; those of the session must all be there.
	newest, _ := v.Alarms(t.Context(), storage.Query{Session: day})
	for _, a := range newest {
		if got := alarms[a.ID]; got.Change < a.Change || got.Kind != a.Kind {
			t.Errorf("alarm %s: change %d in the replay, %d in the session", a.ID, got.Change, a.Change)
		}
	}
	if len(states) != 3 || states["Teal"].Phase != flight.Landed {
		t.Errorf("last states %v", states)
	}
}

// TestSeekShowsTheSamePicture: a seek into the middle gives what running there
// gives, whichever the instant.
func TestSeekShowsTheSamePicture(t *testing.T) {
	v := recorded()
	s, err := New(v.options())
	if err != nil {
		t.Fatal(err)
	}
	one, err := s.session(t.Context(), day)
	if err != nil {
		t.Fatal(err)
	}
	run, err := s.newPlayer(t.Context(), one, 0, 1)
	if err != nil {
		t.Fatal(err)
	}
	for _, at := range []float64{12.34, 26, 28.5, 47.2, 70, 101} {
		if err := run.advance(t.Context(), int64(at*1e9)); err != nil {
			t.Fatal(err)
		}
		sought, err := s.newPlayer(t.Context(), one, at, 1)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(run.hub.states(), sought.hub.states()); d != "" {
			t.Errorf("at %g s (-run +sought)\n%s", at, d)
		}
		if d := cmp.Diff(run.hub.currentAlarms(), sought.hub.currentAlarms()); d != "" {
			t.Errorf("alarms at %g s (-run +sought)\n%s", at, d)
		}
	}
	beyond, err := s.newPlayer(t.Context(), one, 1e6, 1)
	if err != nil || !beyond.now().Equal(*one.Last) {
		t.Errorf("a seek beyond the end stands at %v, the last frame is at %v (%v)", beyond.now(), one.Last, err)
	}
}

// TestWarmStart: in a long session a seek does not begin at the very start, cuts
// no flight, and still numbers the flights as the session did.
func TestWarmStart(t *testing.T) {
	v := newInvented()
	hops := []hop{{rocket: "Teal", link: "pad-radio", pad: 30, after: 1200, speed: 38, sink: 4.5, cell: 4}}
	v.record("long", inventedEpoch, hops...)
	// A second flight, 20 minutes later, by shifting another hop's samples.
	second := samplesOf("long", inventedEpoch, hop{rocket: "Teal", link: "pad-radio", pad: 1300, after: 60, speed: 41, sink: 5, cell: 4}, 9)
	e := newEngine("long", inventedEpoch)
	all := v.samples["long"]
	last := all[len(all)-1]
	for _, s := range second {
		if s.Passed > last.Passed {
			s.N += 1_000_000
			all = append(all, s)
		}
	}
	v.samples["long"], v.events["long"] = all, nil
	for i := range all {
		v.events["long"] = append(v.events["long"], e.Sample(&all[i]).Events...)
	}
	v.sessions[0].Last = &all[len(all)-1].Heard
	lift := 0.0
	for _, ev := range v.events["long"] {
		if ev.Kind == flight.Liftoff && ev.Flight == 2 {
			lift = ev.At.Sub(inventedEpoch).Seconds()
		}
	}
	if lift == 0 {
		t.Fatal("the invented session has no second flight")
	}
	s, err := New(v.options())
	if err != nil {
		t.Fatal(err)
	}
	one, err := s.session(t.Context(), "long")
	if err != nil {
		t.Fatal(err)
	}
	p, err := s.newPlayer(t.Context(), one, lift+3, 1)
	if err != nil {
		t.Fatal(err)
	}
	start, err := p.warmStart(t.Context(), time.Duration((lift+3)*1e9))
	if err != nil || start < 10*time.Minute || start > time.Duration((lift-60)*1e9) {
		t.Errorf("warm start at %v for a seek to %.0f s (%v)", start, lift+3, err)
	}
	st := p.hub.states()
	if len(st) != 1 || st[0].Flight != 2 || st[0].Phase != flight.Coast && st[0].Phase != flight.Boost {
		t.Errorf("state after the seek: %+v", st[0])
	}
}

// TestReplayLimits: only so many at once.
func TestReplayLimits(t *testing.T) {
	v := recorded()
	_, base := serve(t, v.options())
	for range maxReplays {
		follow(t, base+"/api/v1/sessions/"+day+"/replay?speed=0")
	}
	if code, _, body := ask(t, "GET", base+"/api/v1/sessions/"+day+"/replay", ""); code != 503 {
		t.Errorf("one replay too many: %d %s", code, body)
	}
}
