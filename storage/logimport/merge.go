package logimport

import (
	"slices"
	"sort"
	"time"

	"padlark/ingest"
)

// Series is one source of frames of a flight, for merging.
type Series struct {
	Frames []ingest.Frame // in order of Heard
	Bad    int            // pieces of it that gave no sample
}

// score is how dense and clean a series is: good frames a second, once more
// lowered by the part that was bad.
func (s Series) score() float64 {
	n := len(s.Frames)
	if n < 2 {
		return 0
	}
	span := s.Frames[n-1].Heard.Sub(s.Frames[0].Heard).Seconds()
	if span <= 0 {
		return 0
	}
	return float64(n) / span * float64(n) / float64(n+s.Bad)
}

// Merge makes one series of two without duplicates: all of the denser and
// cleaner one, and of the other what lies in the first one's holes. Frames keep
// their Link, which says where each is from. first says whether a won.
func Merge(a, b Series) (out []ingest.Frame, first bool) {
	if Better(a, b) {
		return Fill(a.Frames, b.Frames), true
	}
	return Fill(b.Frames, a.Frames), false
}

// Better says whether a is at least as dense and clean as b.
func Better(a, b Series) bool { return a.score() >= b.score() }

// Fill is all of win, with what of lose lies in its holes.
func Fill(win, lose []ingest.Frame) []ingest.Frame {
	gap := 3 * usualStep(win)
	out := slices.Clone(win)
	for _, f := range lose {
		k := sort.Search(len(win), func(i int) bool { return !win[i].Heard.Before(f.Heard) })
		// In a hole: further from both neighbours than a usual step, and they
		// are further apart than a few.
		before, after := time.Duration(1<<62), time.Duration(1<<62)
		if k > 0 {
			before = f.Heard.Sub(win[k-1].Heard)
		}
		if k < len(win) {
			after = win[k].Heard.Sub(f.Heard)
		}
		if min(before, after) > gap/3 && (k == 0 || k == len(win) || before+after > gap) {
			out = append(out, f)
		}
	}
	slices.SortStableFunc(out, func(x, y ingest.Frame) int { return x.Heard.Compare(y.Heard) })
	return out
}

// usualStep is the median time between frames.
func usualStep(f []ingest.Frame) time.Duration {
	if len(f) < 2 {
		return 0
	}
	steps := make([]time.Duration, len(f)-1)
	for i := range steps {
		steps[i] = f[i+1].Heard.Sub(f[i].Heard)
	}
	slices.Sort(steps)
	return steps[len(steps)/2]
}
