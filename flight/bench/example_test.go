package bench_test

import (
	"fmt"

	"padlark/flight/bench"
)

// The steps of a check on the bench, in their order.
func ExampleAllSteps() {
	for _, step := range bench.AllSteps() {
		fmt.Println(step)
	}
	// Output:
	// before
	// rest
	// lift
	// jar
	// sound
	// servo
}
