package beeps_test

import (
	"fmt"

	"padlark/decode/beeps"
)

// A number beeped in feet, in metres: a foot is 0.3048 m since 1959.
func ExampleCode_Metres() {
	code := beeps.Code{Unit: "ft"}.Filled()
	fmt.Printf("%.1f m\n", code.Metres(250))
	// Output: 76.2 m
}
