package smooth_test

import (
	"math"
	"testing"

	"padlark/flight/ensemble"
)

// TestTilted: rockets that fly across at 10 to 30 m/s when their parachute opens.
// Drag along the path then slows the fall for seconds; a path that knows only the
// vertical part puts the apogee late by some hundredths, always to the same side.
func TestTilted(t *testing.T) {
	spec := ensemble.Nominal50()
	spec.Name, spec.SolidShare, spec.TiltDeg = "tilted", 1, ensemble.Range{Lo: 15, Hi: 25}
	spec.SolidM, spec.SinkMps = ensemble.Range{Lo: 200, Hi: 500}, ensemble.Range{Lo: 6, Hi: 9}
	const n = 12
	var mean float64
	in := 0
	for i := range uint64(n) {
		f, err := ensemble.Draw(spec, 6, i)
		if err != nil {
			t.Fatal(err)
		}
		r, s := analyse(t, &f)
		off := f.S(*r.ApogeeAt) - f.Truth.ApogeeS
		mean += off / n
		if math.Abs(off) < 1.96*s.ApogeeTimeSD {
			in++
		}
	}
	if math.Abs(mean) > 0.012 || in < n-3 {
		t.Errorf("apogee %.3f s late in the mean, %d of %d within 1.96 sd", mean, in, n)
	}
}
