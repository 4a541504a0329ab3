package bundle_test

import (
	"fmt"
	"strings"

	"padlark/storage/bundle"
)

// A table that somebody took for a bundle.
func ExampleIs() {
	fmt.Println(bundle.Is(strings.NewReader("clock_ms,pressure_pa\n0,98412\n")))
	// Output: false
}
