package smooth

import (
	"math"
	"sort"
)

// A nose that comes off, or the servo that frees it, shakes the pressure for a tenth of
// a second or two. Where a board sends fast enough that such a pulse is more than one
// reading it tells when the release was commanded, far better than the pull of a canopy
// that begins to fill at a few metres a second.
const (
	noseFrom, noseTo   = -1.75, 5.0 // s after the apogee, where it is looked for
	nosePulseS         = 0.15       // s, that counts of it
	noseGoneS          = 0.35       // s, after which the readings count again
	noseSDs            = 2.5        // that a reading must be off, two in a row to the same side
	nosePeak           = 5.0        // that one of them must be off
	noseScore          = 50.0       // squares of those that all must be off by together
	noseAlone          = 0.4        // of that is the most that another pulse may have
	noseNear, noseFar  = 0.2, 0.5   // s, of the readings that it is compared with
	noseVar            = 100.0      // m2, what its readings count by
	noseMostS          = 0.06       // s between readings at the most
	noseWrong          = 0.1        // of what looks like one is something else
	noseOut, noseOutSD = 0.04, 0.12 // s from its beginning until the cloth is in the air (common practice, no source)
)

// nosePulse is when a pulse of pressure began between from and to; ok is false where
// there is none, or more than one.
func (r *readings) nosePulse(from, to, white float64) (at float64, ok bool) {
	i, j := r.at(from-noseFar), r.at(to+noseFar)
	if j-i < 20 || (r.t[j-1]-r.t[i])/float64(j-i-1) > noseMostS {
		return 0, false
	}
	off := make([]float64, j-i)
	for k := i; k < j; k++ {
		t := r.t[k]
		before, after := r.h[r.at(t-noseFar):r.at(t-noseNear)], r.h[r.at(t+noseNear):r.at(t+noseFar)]
		off[k-i] = r.h[k] - (median(before)+median(after))/2
	}
	type found struct{ at, score float64 }
	var all []found
	for k := i; k < j; k++ {
		if r.t[k] < from || r.t[k] > to {
			continue
		}
		lo, hi := r.at(r.t[k]-noseFar)-i, r.at(r.t[k]+noseFar)-i
		about := off[max(0, lo):min(len(off), hi)]
		mid := median(about)
		sd := math.Max(spreadOf(about, mid), math.Sqrt(white+0.01))
		score, run, most, sign, peak := 0.0, 0, 0, 0.0, 0.0
		for m := k; m < j && r.t[m] < r.t[k]+nosePulseS; m++ {
			u := (off[m-i] - mid) / sd
			if !(math.Abs(u) > noseSDs) || sign != 0 && u*sign < 0 {
				if m == k {
					break
				}
				run = 0
				continue
			}
			if sign == 0 {
				sign = u
			}
			run++
			most = max(most, run)
			score += math.Min(u*u, 100)
			peak = math.Max(peak, math.Abs(u))
		}
		if most >= 2 && peak > nosePeak && score > noseScore {
			all = append(all, found{r.t[k], score})
		}
	}
	if len(all) == 0 {
		return 0, false
	}
	sort.SliceStable(all, func(a, b int) bool { return all[a].score > all[b].score })
	best := all[0]
	for _, f := range all[1:] {
		if math.Abs(f.at-best.at) > noseGoneS && f.score > noseAlone*best.score {
			return 0, false
		}
	}
	return best.at, true
}

// spreadOf is the standard deviation about mid that the median of the distances tells.
func spreadOf(x []float64, mid float64) float64 {
	d := make([]float64, len(x))
	for i, v := range x {
		d[i] = math.Abs(v - mid)
	}
	return 1.4826 * median(d)
}

// findNose looks for the pulse of a release that nobody told.
func (a *analysis) findNose() {
	a.nose = math.NaN()
	to := math.Min(a.m.apogee+noseTo, orElse(a.m.touchdown, a.r.t[len(a.r.t)-1])-1)
	if at, ok := a.r.nosePulse(math.Max(a.m.apogee+noseFrom, orElse(a.m.liftoff, a.r.t[0])+0.5), to, a.noise.white); ok {
		a.nose = at
	}
}
