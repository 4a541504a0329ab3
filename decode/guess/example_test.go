package guess_test

import (
	"fmt"

	"padlark/decode/guess"
)

// What the titles of a log's columns may mean.
func ExampleNamed() {
	for _, title := range []string{"Time (ms)", "Baro Pressure [hPa]", "Remarks"} {
		role, unit := guess.Named(title)
		fmt.Printf("%s: %q in %q\n", title, role, unit)
	}
	// Output:
	// Time (ms): "clock" in "ms"
	// Baro Pressure [hPa]: "pressure_pa" in "hPa"
	// Remarks: "" in ""
}
