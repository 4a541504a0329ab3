package smooth_test

import (
	"errors"
	"fmt"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/smooth"
)

// A rocket that stood still did not fly.
func ExampleAnalyse() {
	t0 := time.Date(2026, 5, 2, 10, 0, 0, 0, time.UTC)
	var samples []decode.Sample
	for i := range 200 {
		at := t0.Add(time.Duration(i) * 50 * time.Millisecond)
		samples = append(samples, decode.Sample{Rocket: "Wren", Seq: int64(i), Clock: -1, At: at, Heard: at, Passed: at.Sub(t0).Nanoseconds(),
			Values: decode.Channels{Names: []string{decode.PressurePa}, Values: []float64{98400 + float64(i%3)}}})
	}
	_, _, err := smooth.Analyse(smooth.Config{Rocket: flight.Rocket{Name: "Wren"}}, samples, nil, nil)
	fmt.Println(errors.Is(err, smooth.ErrNoFlight))
	// Output: true
}
