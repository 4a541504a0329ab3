package sim_test

import (
	"fmt"
	"time"

	"padlark/flight/sim"
)

// Three boards on a field, and the first bytes that one of them sends.
func ExampleNew() {
	scenario, err := sim.Fleet(3, 10, 5)
	if err != nil {
		fmt.Println(err)
		return
	}
	day, err := sim.New(scenario, 1, time.Date(2026, 5, 2, 10, 0, 0, 0, time.UTC))
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(len(day.Rockets()), "rockets")
	for chunk, err := range day.Chunks(1) {
		fmt.Println(chunk.Link, len(chunk.Bytes) > 0, err)
		break
	}
	// Output:
	// 3 rockets
	// radio-01 true <nil>
}
