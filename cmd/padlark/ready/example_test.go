package ready_test

import (
	"fmt"

	"padlark/cmd/padlark/ready"
	"padlark/web"
)

// A station is as well as its worst part.
func ExampleWorst() {
	fmt.Println(ready.Worst([]web.Finding{{State: ready.Good}, {State: ready.Bad}, {State: ready.Good}}))
	// Output: bad
}
