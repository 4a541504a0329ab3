package sqlite

import (
	"fmt"
	"testing"
	"time"

	"padlark/flight"
	"padlark/storage"
)

// TestFlightRowsToTheEnd: what came after the call of the touchdown is added
// when the session ends, up to 10 s after the touchdown, each sample once.
func TestFlightRowsToTheEnd(t *testing.T) {
	a := openNew(t)
	flown(t, a, flight.Site{})
	const rows = `SELECT COUNT(*), COUNT(DISTINCT n), MIN(n), MAX(n) FROM flight_samples WHERE rocket = 'Teal' AND flight = 1`
	if got, want := shell(t, a.Path(), rows), "206|206|200|405"; got != want {
		t.Errorf("after the touchdown %s, want %s", got, want)
	}
	writeSome(t, a, 406, 600) // half a minute of lying on the ground, at 20 Hz
	end := epoch.Add(time.Minute)
	for range 2 {
		if err := a.EndSession(t.Context(), "s1", end); err != nil {
			t.Fatal(err)
		}
		// The touchdown was at 20.3 s. A sample is measured 27 ms before it is
		// heard, and frame n is heard at n x 50 ms and some.
		got := readSamples(t, a, storage.Query{Session: "s1", Rocket: "Teal", Flight: 1})
		last := got[len(got)-1].N
		if got, want := shell(t, a.Path(), rows), fmt.Sprintf("%d|%d|200|%d", last-199, last-199, last); got != want {
			t.Errorf("at the end %s, want %s", got, want)
		}
	}
}
