package smooth

import (
	"math"
	"slices"
)

// lostClimbing says whether nothing was heard of the flight from the climb on:
// then whatever else is known of it was reckoned, and no verdict can rest on it.
// last is the height of the newest readings, in m.
func (a *analysis) lostClimbing() (last float64, lost bool) {
	n := len(a.r.t)
	if n < 3 || math.IsNaN(a.m.liftoff) || a.r.t[n-1] < a.m.liftoff {
		return 0, false
	}
	last = median3(a.r.h[n-3], a.r.h[n-2], a.r.h[n-1])
	if h := a.r.h; h[n-1] > h[n-2] && h[n-2] > h[n-3] && last > h[0]+leastClimb && (h[n-1]-h[n-3])/(a.r.t[n-1]-a.r.t[n-3]) > climbing {
		// It rises to the end: whatever was taken for the top was none.
		return last, h[n-1] >= slices.Max(h)
	}
	if !math.IsNaN(a.m.apogee) {
		return last, a.r.t[n-1] < a.m.apogee
	}
	for _, h := range a.r.h[:n-3] {
		if h > last {
			return last, false
		}
	}
	return last, true
}

// What a climb is at the end of the readings, beyond gusts and swing: m/s, and m
// above the first reading.
const climbing, leastClimb = 5.0, 5.0

func median3(a, b, c float64) float64 { return max(min(a, b), min(max(a, b), c)) }
