package ensemble_test

import (
	"fmt"

	"padlark/flight/ensemble"
)

// A seed and an index are one flight, on every machine.
func ExampleDraw() {
	first, err := ensemble.Draw(ensemble.Short(), 7, 3)
	if err != nil {
		fmt.Println(err)
		return
	}
	again, err := ensemble.Draw(ensemble.Short(), 7, 3)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(len(first.Samples) == len(again.Samples), first.Truth.ApogeeM == again.Truth.ApogeeM)
	// Output: true true
}
