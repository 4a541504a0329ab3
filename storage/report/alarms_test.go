package report

import (
	"testing"
	"time"

	"padlark/flight"
	"padlark/flight/phrase"
)

// TestAlarmRaisedAgain: an alarm that was raised twice is two lines, each with the
// words and the time of its own raise, also when the words change while it lasts.
func TestAlarmRaisedAgain(t *testing.T) {
	zero := time.Date(2026, 6, 13, 9, 0, 0, 0, time.UTC)
	at := func(s float64) time.Time { return zero.Add(time.Duration(s * 1e9)) }
	change := func(raised, changed float64, active bool, reason string) flight.Alarm {
		return flight.Alarm{ID: "a", Kind: "ballistic", Active: active, RaisedAt: at(raised), ChangedAt: at(changed), Reason: reason}
	}
	got := alarms(&gathered{zero: zero, alarms: []flight.Alarm{
		change(5, 5, true, "first"), change(5, 6, true, "first, still"), change(5, 7, false, "first, over"),
		change(20, 20, true, "second"),
	}}, phrase.Reader{})
	if len(got) != 2 {
		t.Fatalf("%d lines: %+v", len(got), got)
	}
	if got[0].T != 5 || got[0].Reason != "first" || got[0].EndT == nil || *got[0].EndT != 7 {
		t.Errorf("first raise: %+v", got[0])
	}
	if got[1].T != 20 || got[1].Reason != "second" || got[1].EndT != nil {
		t.Errorf("second raise: %+v", got[1])
	}
}
