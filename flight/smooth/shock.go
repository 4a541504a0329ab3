package smooth

import (
	"math"

	"padlark/decode"
	"padlark/flight/track"
)

// The shock of a landing, as an accelerometer shows it (common practice, no source).
const (
	shockMps2    = 30.0 // so much at least, and
	shockTimes   = 2.0  // so many times what it read before, hanging
	calmBeforeS  = 1.0  // for so long
	shockBeforeS = 3.0  // s before the touchdown that the heights show, and after it
	shockAfterS  = 2.0
	fewestCalm   = 5
)

// findShock dates the touchdown by the shock of the landing, where an accelerometer shows
// one near it: heights whose level wanders know it to seconds only.
func (a *analysis) findShock(samples []decode.Sample) {
	td := a.m.touchdown
	if math.IsNaN(td) || td-shockBeforeS < orElse(a.m.release, a.m.apogee)+restS {
		return
	}
	type felt struct{ t, size float64 }
	var all []felt
	for _, i := range byTime(samples) {
		t := samples[i].At.Sub(a.r.ref).Seconds()
		if v, _, ok := track.Acceleration(&samples[i]); ok && t > td-shockBeforeS-calmBeforeS && t < td+shockAfterS {
			all = append(all, felt{t, math.Sqrt(sq(v[0]) + sq(v[1]) + sq(v[2]))})
		}
	}
	for i, now := range all {
		if now.t < td-shockBeforeS || now.size < shockMps2 {
			continue
		}
		most, n := 0.0, 0
		for k := i - 1; k >= 0 && all[k].t > now.t-calmBeforeS; k-- {
			most, n = math.Max(most, all[k].size), n+1
		}
		if n >= fewestCalm && now.size > shockTimes*most {
			a.m.touchdown, a.shock = now.t, true
			return
		}
	}
}
