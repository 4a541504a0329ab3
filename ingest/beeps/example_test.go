package beeps_test

import (
	"fmt"

	"padlark/ingest/beeps"
)

// The course of a tone, kept as bytes and read again.
func ExampleParseStrip() {
	kept := beeps.Strip{PitchHz: 2700, DB: []float64{-3, 18, 18.5, -2}}.AppendBinary(nil)
	strip, err := beeps.ParseStrip(kept)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(strip.PitchHz, "Hz", strip.DB, "dB")
	// Output: 2700 Hz [-3 18 18.5 -2] dB
}
