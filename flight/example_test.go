package flight_test

import (
	"fmt"

	"padlark/flight"
)

// The events of a session, before and after a rule was changed.
func ExampleCompare() {
	was := []flight.Event{{ID: "Teal/liftoff/1", Kind: flight.Liftoff}, {ID: "Teal/apogee/1", Kind: flight.Apogee}}
	is := was[:1]
	differ, equal, same, err := flight.Compare(was, is)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(equal, "alike, all:", same)
	for _, d := range differ {
		fmt.Println("gone:", d.Was.ID, d.Is == nil)
	}
	// Output:
	// 1 alike, all: false
	// gone: Teal/apogee/1 true
}
