package tune_test

import (
	"fmt"

	"padlark/flight/tune"
)

// What a tenth of a pascal is in height at sea level, in the fixed point of the
// firmware (1,024 is a centimetre; R T / (p g) makes 0.83 cm), and how high a board may arm that
// never stays below 20 m with a noise of 0.3 m.
func ExampleArmFor() {
	fmt.Println(tune.SlopeAt(101325, 15), tune.ArmFor(20, 0.3), "cm")
	// Output:
	// 852 500 cm
}
