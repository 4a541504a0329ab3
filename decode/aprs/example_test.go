package aprs_test

import (
	"fmt"

	"padlark/decode/aprs"
)

// A position without a time, as APRS 1.0.1, chapter 8, shows it.
func ExampleRead() {
	var r aprs.Report
	if err := aprs.Read("APRS", []byte("!4903.50N/07201.75W-Test 001234"), &r); err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.4f %.4f %s\n", r.LatitudeDeg, r.LongitudeDeg, r.Comment)
	// Output: 49.0583 -72.0292 Test 001234
}
