package callout

import (
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"padlark/flight"
	"padlark/flight/phrase"
)

var noon = time.Date(2026, 5, 16, 12, 0, 0, 0, time.UTC)

func num(v float64) *float64 { return &v }

// texts are what calls say, with their rank.
func texts(calls []Call) []string {
	out := []string{}
	for _, c := range calls {
		out = append(out, strings.Repeat("!", 4-int(c.Rank))+c.Text)
	}
	return out
}

func TestPlannerSpeaksOfWhatMatters(t *testing.T) {
	p := NewPlanner(Config{HeightsM: 50})
	up := func(m float64) *flight.State {
		return &flight.State{Rocket: "Teal", Phase: flight.Coast, AltitudeM: num(m), At: noon}
	}
	steps := []struct {
		name   string
		state  *flight.State
		events []flight.Event
		alarms []flight.Alarm
		want   []string
	}{
		{"liftoff", up(2), []flight.Event{{Rocket: "Teal", Kind: flight.Liftoff}}, nil, []string{"!Teal liftoff"}},
		{"burnout is not called", up(20), []flight.Event{{Rocket: "Teal", Kind: flight.Burnout}}, nil, []string{}},
		{"first height", up(51), nil, nil, []string{"Teal 50"}},
		{"not twice", up(70), nil, nil, []string{}},
		{"only the newest of several", up(204), nil, nil, []string{"Teal 200"}},
		{"apogee with its height", up(211), []flight.Event{{Rocket: "Teal", Kind: flight.Apogee, AltitudeM: num(211.4)}}, nil, []string{"!Teal apogee, 211 metres"}},
		{"a warning comes before the rest", nil, []flight.Event{{Rocket: "Teal", Kind: flight.Touchdown}},
			[]flight.Alarm{
				{Rocket: "Rust", Kind: "cell-low", Priority: flight.Act, Active: true, Say: "Rust cell low"},
				{Rocket: "Teal", Kind: "ballistic", Priority: flight.LookUp, Active: true, Say: "look up! Teal ballistic, 3 seconds"}},
			[]string{"!!!look up! Teal ballistic, 3 seconds", "!!Rust cell low", "!Teal landed"}},
		{"cleared, acknowledged and mere knowledge are not called", nil, nil,
			[]flight.Alarm{
				{Kind: "ballistic", Priority: flight.LookUp, Say: "a"},
				{Kind: "ballistic", Priority: flight.LookUp, Active: true, Acked: true, Say: "b"},
				{Kind: "losses", Priority: flight.Know, Active: true, Say: "c"}},
			[]string{}},
	}
	for _, s := range steps {
		calls := p.Take(s.state, s.events, s.alarms)
		if d := cmp.Diff(s.want, texts(calls)); d != "" {
			t.Errorf("%s (-want +got):\n%s", s.name, d)
		}
		for _, c := range calls {
			if len(c.Tones) == 0 {
				t.Errorf("%s: %q has no tones", s.name, c.Text)
			}
		}
	}
}

func TestPlannerLeavesOutButNeverAWarning(t *testing.T) {
	p := NewPlanner(Config{Off: []string{"liftoff", "ballistic", "cell-low"}})
	got := texts(p.Take(nil, []flight.Event{{Rocket: "Teal", Kind: flight.Liftoff}}, []flight.Alarm{
		{Kind: "ballistic", Priority: flight.LookUp, Active: true, Say: "look up"},
		{Kind: "cell-low", Priority: flight.Act, Active: true, Say: "cell"},
	}))
	if d := cmp.Diff([]string{"!!!look up"}, got); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
}

func TestConfigErrorsNameTheKey(t *testing.T) {
	for _, c := range []struct {
		cfg  Config
		want string
	}{
		{Config{}, ""},
		{Config{Command: []string{"say"}, HeightsM: 50}, ""},
		{Config{Command: []string{" "}}, "callout.command"},
		{Config{HeightsM: 1}, "callout.heights_m"},
		{Config{HeightsM: -50}, "callout.heights_m"},
		{Config{LongestS: 1e9}, "callout.longest_s"},
	} {
		err := c.cfg.Validate()
		if (err == nil) != (c.want == "") || err != nil && !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: got %v, want an error with %q", c.cfg, err, c.want)
		}
	}
}

// TestWarningsThatStood: after a start that goes on, what calls for eyes is said once
// more, though it is no news; nothing else is, nor what somebody has acknowledged.
func TestWarningsThatStood(t *testing.T) {
	p := NewPlanner(Config{})
	later := noon.Add(3 * time.Second)
	alarms := []flight.Alarm{
		{Rocket: "Teal", Kind: "ballistic", Priority: flight.LookUp, Active: true, RaisedAt: noon, ChangedAt: later, Say: "look up! Teal ballistic"},
		{Rocket: "Rust", Kind: "ballistic", Priority: flight.LookUp, Active: true, Acked: true, Say: "seen"},
		{Rocket: "Rust", Kind: "no-release", Priority: flight.LookUp, Say: "over"},
		{Rocket: "Rust", Kind: "cell-low", Priority: flight.Act, Active: true, Say: "Rust cell low"},
	}
	if d := cmp.Diff([]string{"!!!look up! Teal ballistic"}, texts(p.Again(alarms))); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
}

// Calls come in the language of the crew; the rocket's name stays.
func TestCallsInLanguages(t *testing.T) {
	high := 84.4
	a := flight.Alarm{Rocket: "Teal", Kind: "no-release", Priority: flight.LookUp, Active: true, Say: "Teal no release, look up",
		SayPhrase: phrase.Of("no-release.say", phrase.Word("rocket", "Teal"))}
	for l, want := range map[phrase.Language][2]string{
		"":              {"Teal no release, look up", "Teal apogee, 84 metres"},
		phrase.German:   {"Teal kein Auswurf, nach oben schauen", "Teal am Gipfel, 84 Meter"},
		phrase.Japanese: {"Teal、ほうしゅつなし、うえをみて", "Teal、ちょうてん、84メートル"},
	} {
		p := NewPlanner(Config{})
		p.Reader.Language = l
		got := p.Take(nil, []flight.Event{{Kind: flight.Apogee, Rocket: "Teal", AltitudeM: &high}}, []flight.Alarm{a})
		if len(got) != 2 || got[0].Text != want[0] || got[1].Text != want[1] {
			t.Errorf("%q: %+v, want %q", l, got, want)
		}
	}
}
