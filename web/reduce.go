package web

import "math"

// series is one channel against time: t in s (rising), v in the channel's unit.
// A NaN in v is a gap: nothing is drawn across it.
type series struct {
	t, v []float64
}

// reduce keeps at most about 4*buckets points: of each of `buckets` equal spans
// of time the first, the lowest, the highest and the last. A line drawn through
// these covers the same pixels as one through all points when there is a bucket
// for each pixel column (U. Jugel, Z. Jerzak, G. Hackenbroich, V. Markl: "M4: A
// Visualization-Oriented Time Series Data Aggregation", PVLDB 7(10), 2014).
// Gaps are kept: one NaN for each run of them.
func reduce(s series, buckets int) series {
	n := len(s.t)
	if buckets < 1 || n <= 4*buckets || s.t[n-1] <= s.t[0] {
		return s
	}
	out := series{make([]float64, 0, 4*buckets+8), make([]float64, 0, 4*buckets+8)}
	width := (s.t[n-1] - s.t[0]) / float64(buckets)
	for i := 0; i < n; {
		end := s.t[0] + width*(math.Floor((s.t[i]-s.t[0])/width)+1)
		k := i + 1
		for k < n && (s.t[k] < end || k == n-1) {
			k++
		}
		out.keepSpan(s, i, k)
		i = k
	}
	return out
}

// keepSpan appends the points of s[i:k] that count: around each gap inside the
// span first, lowest, highest and last are kept anew.
func (o *series) keepSpan(s series, i, k int) {
	for i < k {
		if math.IsNaN(s.v[i]) {
			if m := len(o.v); m > 0 && !math.IsNaN(o.v[m-1]) {
				o.t, o.v = append(o.t, s.t[i]), append(o.v, s.v[i])
			}
			i++
			continue
		}
		lo, hi, last := i, i, i
		for ; last < k && !math.IsNaN(s.v[last]); last++ {
			if s.v[last] < s.v[lo] {
				lo = last
			}
			if s.v[last] > s.v[hi] {
				hi = last
			}
		}
		o.keep(s, i, min(lo, hi), max(lo, hi), last-1)
		i = last
	}
}

// keep appends points by their index, rising, each once.
func (o *series) keep(s series, index ...int) {
	before := -1
	for _, i := range index {
		if i > before {
			o.t, o.v = append(o.t, s.t[i]), append(o.v, s.v[i])
			before = i
		}
	}
}

// markGaps puts a NaN into every hole longer than `longest` s. It returns s
// itself when there is none.
func markGaps(s series, longest float64) series {
	holes := 0
	for i := 1; i < len(s.t); i++ {
		if s.t[i]-s.t[i-1] > longest {
			holes++
		}
	}
	if holes == 0 {
		return s
	}
	out := series{make([]float64, 0, len(s.t)+holes), make([]float64, 0, len(s.t)+holes)}
	for i := range s.t {
		if i > 0 && s.t[i]-s.t[i-1] > longest {
			out.t, out.v = append(out.t, (s.t[i]+s.t[i-1])/2), append(out.v, math.NaN())
		}
		out.t, out.v = append(out.t, s.t[i]), append(out.v, s.v[i])
	}
	return out
}

// longestStep is how far apart two samples may be and still be joined: five
// times the usual step, but at least 0.25 s, so that a lost frame or two of a
// fast board do not tear the line.
func longestStep(t []float64) float64 {
	if len(t) < 3 {
		return math.Inf(1)
	}
	// The usual step is the middle one of a few hundred taken evenly.
	stride := max(1, (len(t)-1)/301)
	var steps []float64
	for i := 1; i < len(t); i += stride {
		steps = append(steps, t[i]-t[i-1])
	}
	return max(0.25, 5*middle(steps))
}

// between cuts s to from <= t <= to, with one point more on each side so that a
// line runs to the edge of the plot.
func between(s series, from, to float64) series {
	i, k := 0, len(s.t)
	for i+1 < k && s.t[i+1] < from {
		i++
	}
	for k-1 > i && s.t[k-1] > to {
		k--
	}
	k = min(k+1, len(s.t))
	return series{s.t[i:k], s.v[i:k]}
}
