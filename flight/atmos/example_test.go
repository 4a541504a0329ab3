package atmos_test

import (
	"fmt"

	"padlark/flight/atmos"
)

// A height from the pressure at the pad and aloft, and how unsure it is when the
// temperature of the site is known to 2 degrees and a reading to 3 Pa.
func ExampleColumn_Height() {
	c, err := atmos.NewColumn(atmos.Pad{Pressure: 98_800, Temperature: 17.5 + atmos.ZeroC})
	if err != nil {
		fmt.Println(err)
		return
	}
	h := c.Height(97_930)
	b := c.Budget(h, atmos.Errors{NoisePa: 3, TemperatureK: 2})
	fmt.Printf("%.1f m ± %.1f m\n", h, b.Total)
	// Output: 75.2 m ± 0.6 m
}
