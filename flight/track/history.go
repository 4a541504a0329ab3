package track

import "math"

// historySize is how many readings are kept: five seconds at 100 Hz. The
// oldest is dropped.
const historySize = 512

// reading is one measurement of height as the tracker keeps it.
type reading struct {
	t     float64 // s since the tracker's first sample
	z     float64 // m, see column
	h     float64 // m above the pad; valid after liftoff
	force float64 // along the rocket, m/s2, 9.81 at rest; NaN if not measured
	v     float64 // m/s, the filter's mean after this reading; NaN before liftoff
}

// history is a ring of the newest readings. Index 0 is the newest.
type history struct {
	buf  [historySize]reading
	next int
	n    int
}

func (r *history) clear() { r.n = 0 }

func (r *history) push(x reading) {
	r.buf[r.next] = x
	r.next = (r.next + 1) % historySize
	if r.n < historySize {
		r.n++
	}
}

// at returns the reading that is i back from the newest.
func (r *history) at(i int) *reading {
	return &r.buf[(r.next-1-i+2*historySize)%historySize]
}

// since returns how many readings are not older than t.
func (r *history) since(t float64) int {
	i := 0
	for i < r.n && r.at(i).t >= t {
		i++
	}
	return i
}

// arc is a robust fit of height = h + v (t-end) + c/2 (t-end)^2 with known c,
// at the time of the newest reading in it.
type arc struct {
	end  float64 // s
	h, v float64
	n    int     // readings that counted
	sdV  float64 // of v, for the given noise
	sdH  float64
	rms  float64 // of the readings that counted
	used float64 // fraction of the readings that counted
}

// fit runs over the newest n readings (index first to first+n-1), with
// curvature c in m/s2 and noise sd in m. Three passes: a resistant line
// through the medians of the outer thirds, then twice least squares over what
// lies within four sd. Fewer than three readings give n = 0.
func (r *history) fit(first, n int, c, sd float64) arc {
	if n < 3 {
		return arc{}
	}
	end := r.at(first).t
	flat := func(i int) (t, y float64) {
		x := r.at(i)
		t = x.t - end
		return t, x.h - c/2*t*t
	}
	a := arc{end: end}
	a.h, a.v = resistantLine(first, n, flat)
	for pass := range 3 {
		gate := 4 * sd
		if pass == 0 {
			gate = 6*sd + 0.5
		}
		var s, st, stt, sy, sty, sse float64
		for i := first; i < first+n; i++ {
			t, y := flat(i)
			e := y - a.h - a.v*t
			if math.Abs(e) > gate {
				continue
			}
			s++
			st += t
			stt += t * t
			sy += y
			sty += t * y
			sse += e * e
		}
		det := s*stt - st*st
		if s < 3 || det <= 1e-12 {
			return arc{}
		}
		a.h = (stt*sy - st*sty) / det
		a.v = (s*sty - st*sy) / det
		a.n, a.rms, a.used = int(s), math.Sqrt(sse/s), s/float64(n)
		a.sdV = sd * math.Sqrt(s/det)
		a.sdH = sd * math.Sqrt(stt/det)
	}
	return a
}

// resistantLine is Tukey's line through the medians of the first and last
// third of the points.
func resistantLine(first, n int, at func(int) (t, y float64)) (h, v float64) {
	k := max(1, min(n/3, maxMedian))
	var ts, ys [maxMedian]float64
	third := func(from int) (t, y float64) {
		for i := range k {
			ts[i], ys[i] = at(from + i)
		}
		return median(ts[:k]), median(ys[:k])
	}
	t1, y1 := third(first) // newest
	t0, y0 := third(first + n - k)
	if t1 > t0 {
		v = (y1 - y0) / (t1 - t0)
	}
	return (y1 - v*t1 + y0 - v*t0) / 2, v
}

// maxMedian bounds the sorted scratch arrays.
const maxMedian = 160

// median sorts its argument in place (insertion: the arrays are short) and
// returns the middle.
func median(x []float64) float64 {
	for i := 1; i < len(x); i++ {
		for j := i; j > 0 && x[j-1] > x[j]; j-- {
			x[j-1], x[j] = x[j], x[j-1]
		}
	}
	n := len(x)
	if n == 0 {
		return math.NaN()
	}
	if n%2 == 1 {
		return x[n/2]
	}
	return (x[n/2-1] + x[n/2]) / 2
}
