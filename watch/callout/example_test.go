package callout_test

import (
	"fmt"
	"time"

	"padlark/flight"
	"padlark/watch/callout"
)

// What is said when a rocket touches down.
func ExamplePlanner_Take() {
	planner := callout.NewPlanner(callout.Config{})
	at := time.Date(2026, 5, 2, 10, 0, 0, 0, time.UTC)
	calls := planner.Take(nil, []flight.Event{{ID: "Teal/touchdown/1", Kind: flight.Touchdown, Rocket: "Teal", At: at, CalledAt: at, Flight: 1}}, nil)
	for _, call := range calls {
		fmt.Println(call.Text)
	}
	// Output: Teal landed
}
