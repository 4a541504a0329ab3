package report_test

import (
	"fmt"

	"padlark/storage/report"
)

// What people note of a launch is read as numbers.
func ExampleReadTyped() {
	t := report.ReadTyped([]string{"fill 650 mL, pressure 6 bar", "a crooked fin"})
	fmt.Printf("%.0f mL at %.1f bar\n", *t.FillMl, *t.PressureBar)
	// Output: 650 mL at 6.0 bar
}
