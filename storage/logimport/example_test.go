package logimport_test

import (
	"fmt"
	"math"
	"time"

	"padlark/storage/logimport"
)

// A board's own log, whose clock is 3 s behind, laid over what was heard by radio.
func ExampleAlign() {
	t0 := time.Date(2026, 5, 2, 10, 0, 0, 0, time.UTC)
	course := func(behind time.Duration, every float64) (points []logimport.Point) {
		for s := 0.0; s < 20; s += every {
			points = append(points, logimport.Point{At: t0.Add(time.Duration(s*float64(time.Second)) - behind), M: 80 * math.Exp(-(s-8)*(s-8)/8)})
		}
		return points
	}
	a, ok := logimport.Align(course(3*time.Second, 0.02), course(0, 0.1))
	fmt.Printf("%t: %.1f s, good: %t\n", ok, a.OffsetS, a.Good(80))
	// Output: true: 3.0 s, good: true
}
