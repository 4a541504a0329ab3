package bus_test

import (
	"fmt"

	"padlark/bus"
)

// Any name becomes one token of a subject, so that a dot or a star in it selects nothing.
func ExampleToken() {
	for _, name := range []string{"Teal", "pad.radio", "*"} {
		fmt.Println(bus.Token(name))
	}
	// Output:
	// Teal
	// pad=2Eradio
	// =2A
}
