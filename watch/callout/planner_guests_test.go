package callout

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"padlark/flight"
)

// Forty unknown rockets that fall at once leave the speaker to ours.
func TestOnlyOursAreCalledOut(t *testing.T) {
	p := NewPlanner(Config{HeightsM: 20})
	p.Ours = func(rocket string) bool { return strings.HasPrefix(rocket, "Teal") }
	var all []flight.Alarm
	for i := range 40 {
		all = append(all, flight.Alarm{Rocket: fmt.Sprintf("id-%d", i), Kind: "ballistic", Priority: flight.LookUp, Active: true, Say: "id", ChangedAt: time.Unix(1, 0)})
	}
	all = append(all, flight.Alarm{Rocket: "Teal", Kind: "ballistic", Priority: flight.LookUp, Active: true, Say: "look up! Teal"},
		flight.Alarm{Kind: "disk-full", Priority: flight.Act, Active: true, Say: "the disk is full"})
	h := 45.0
	calls := p.Take(&flight.State{Rocket: "id-1", Phase: flight.Coast, AltitudeM: &h},
		[]flight.Event{{Kind: flight.Liftoff, Rocket: "id-2"}, {Kind: flight.Liftoff, Rocket: "Teal (2)"}}, all)
	var said []string
	for _, c := range calls {
		said = append(said, c.Text)
	}
	if got := strings.Join(said, "; "); got != "look up! Teal; the disk is full; Teal (2) liftoff" {
		t.Errorf("said: %s", got)
	}
}
