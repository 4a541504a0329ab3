package ground_test

import (
	"fmt"

	"padlark/flight/ground"
)

// One minute of arc of latitude at 45 degrees is 1,852 m, which is how long the
// nautical mile was made (common practice; on WGS 84 it is 1,852.2 m there).
func ExamplePlane() {
	pad := ground.Place{LatitudeDeg: 45 - 1.0/120, LongitudeDeg: 7}
	found := ground.Place{LatitudeDeg: 45 + 1.0/120, LongitudeDeg: 7}
	east, north := ground.Plane(pad, found)
	fmt.Printf("%.0f m east, %.0f m north\n", east, north)
	// Output: 0 m east, 1852 m north
}
