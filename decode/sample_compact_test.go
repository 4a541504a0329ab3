package decode

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"
)

// drawSample draws any sample that can be written as JSON.
func drawSample(t *rapid.T) Sample {
	name := rapid.StringMatching(`[a-zA-Z0-9 é_-]{0,20}`)
	moment := func(label string) time.Time {
		return time.Unix(rapid.Int64Range(-2e9, 1e11).Draw(t, label), rapid.Int64Range(0, 999_999_999).Draw(t, label+" ns")).UTC()
	}
	s := Sample{
		Session: name.Draw(t, "session"), Link: name.Draw(t, "link"), Rocket: name.Draw(t, "rocket"),
		N: rapid.Uint64().Draw(t, "n"), Boot: rapid.Uint32().Draw(t, "boot"),
		Seq: rapid.Int64().Draw(t, "seq"), Clock: rapid.Int64().Draw(t, "clock"), Passed: rapid.Int64().Draw(t, "passed"),
		Heard: moment("heard"), At: moment("at"),
	}
	if rapid.Bool().Draw(t, "has rssi") {
		v := rapid.Float64Range(-200, 50).Draw(t, "rssi")
		s.RSSI = &v
	}
	s.Values.Names = rapid.SliceOfNDistinct(rapid.StringMatching(`[a-z_]{1,12}`), 0, 8, rapid.ID[string]).Draw(t, "names")
	s.Values.Values = make([]float64, len(s.Values.Names))
	for i := range s.Values.Values {
		s.Values.Values[i] = rapid.OneOf(rapid.Float64(), rapid.Just(math.NaN()), rapid.Just(math.Inf(1))).Draw(t, "value")
	}
	return s
}

// The compact form says what the JSON says, and what follows it is left.
func TestCompactSaysWhatJSONSays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawSample(t)
		got, rest, err := ReadCompact(append(s.AppendCompact(nil), "rest"...))
		if err != nil {
			t.Fatal(err)
		}
		if string(rest) != "rest" {
			t.Errorf("what follows is %q", rest)
		}
		text, err := json.Marshal(s)
		if err != nil {
			t.Fatal(err)
		}
		again, err := json.Marshal(got)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(string(text), string(again)); d != "" {
			t.Errorf("as JSON (-sample +read) %s", d)
		}
		for i, v := range s.Values.Values {
			if math.IsInf(v, 0) {
				s.Values.Values[i] = math.NaN()
			}
		}
		if d := cmp.Diff(s, got, cmpopts.EquateNaNs(), cmpopts.EquateEmpty()); d != "" {
			t.Errorf("(-sample +read) %s", d)
		}
	})
}

// No prefix is taken for a sample.
func TestCompactCutOff(t *testing.T) {
	v := -71.5
	s := Sample{Session: "s", Link: "l", Rocket: "r", RSSI: &v, Values: Channels{Names: []string{"a", "b"}, Values: []float64{1, 2}}}
	whole := s.AppendCompact(nil)
	for n := range whole {
		if got, _, err := ReadCompact(whole[:n]); err == nil {
			t.Errorf("%d of %d bytes read as %+v", n, len(whole), got)
		}
	}
	if _, _, err := ReadCompact(whole); err != nil {
		t.Error(err)
	}
}

func FuzzReadCompact(f *testing.F) {
	s := Sample{Session: "s", Link: "l", Rocket: "r", Values: Channels{Names: []string{"a"}, Values: []float64{1}}}
	f.Add(s.AppendCompact(nil))
	f.Fuzz(func(t *testing.T, b []byte) {
		s, rest, err := ReadCompact(b)
		if err != nil {
			return
		}
		again, _, err := ReadCompact(s.AppendCompact(nil))
		if err != nil {
			t.Fatalf("what was read cannot be read again: %v", err)
		}
		if len(rest) > len(b) {
			t.Errorf("%d bytes are left of %d", len(rest), len(b))
		}
		if d := cmp.Diff(s, again, cmpopts.EquateNaNs(), cmpopts.EquateEmpty()); d != "" {
			t.Errorf("(-read +again) %s", d)
		}
	})
}
