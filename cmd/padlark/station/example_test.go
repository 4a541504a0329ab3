package station_test

import (
	"fmt"

	"padlark/cmd/padlark/station"
)

// What people are told of a journal's torn end.
func ExampleTornWords() {
	fmt.Println(station.TornWords(12))
	// Output: the last 12 bytes of the journal are no whole record, as after a loss of power: what they held is lost
}
