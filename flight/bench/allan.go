package bench

import "math"

// AllanPoint is the Allan deviation of a record at one averaging time.
type AllanPoint struct {
	TauS float64 `json:"tau_s"`
	Dev  float64 `json:"dev"`  // in the unit of the record
	SD   float64 `json:"sd"`   // of Dev, about
	Mean int     `json:"mean"` // readings averaged in each
}

// allan is the overlapping Allan deviation of readings y taken every dt s, at
// averaging times of 1, 2, 5, 10, ... readings up to a quarter of the record:
//
//	dev2(m) = 1/2 mean over i of (mean(y[i+m..i+2m)) - mean(y[i..i+m)))2
//
// (D. W. Allan, Proc. IEEE 54, 1966; the overlapping form: NIST Special
// Publication 1065, Riley, 2008; formulas from memory). For a barometer y is
// pressure or height. White noise falls as 1/sqrt(tau), a drift rises as tau;
// where the curve is lowest, averaging longer helps no more.
//
// The standard deviation of a point is dev/sqrt(2(n/m-1)), the usual estimate
// for white noise and readings that do not overlap (IEEE Std 952; from
// memory): a little more than that of the overlapping form.
func allan(y []float64, dt float64) []AllanPoint {
	sums := make([]float64, len(y)+1)
	mean := 0.0
	for _, v := range y {
		mean += v / float64(len(y))
	}
	for i, v := range y {
		// Less the mean: sums of pressures would lose the small digits.
		sums[i+1] = sums[i] + v - mean
	}
	var out []AllanPoint
	for scale := 1; scale <= len(y)/4; scale *= 10 {
		for _, f := range []int{1, 2, 5} {
			m := f * scale
			if m > len(y)/4 {
				return out
			}
			out = append(out, AllanPoint{
				TauS: float64(m) * dt, Dev: deviation(sums, m, 1), Mean: m,
				SD: deviation(sums, m, 1) / math.Sqrt(2*(float64(len(y))/float64(m)-1)),
			})
		}
	}
	return out
}

// deviation is the Allan deviation for averages of m readings, whose running
// sums are given; the pairs of averages begin every step readings (1 is the
// overlapping form, m the plain one).
func deviation(sums []float64, m, step int) float64 {
	var sum float64
	n := 0
	for i := 0; i+2*m < len(sums); i += step {
		d := (sums[i+2*m] - 2*sums[i+m] + sums[i]) / float64(m)
		sum += d * d
		n++
	}
	if n == 0 {
		return math.NaN()
	}
	return math.Sqrt(sum / float64(2*n))
}

// even puts readings at times t (s, rising) on an even grid of step dt. It
// takes the longest stretch without a pause of more than gap steps; what is
// missing within is filled by straight lines.
func even(t, y []float64, dt, gap float64) []float64 {
	from, to, start := 0, 0, 0
	for i := 1; i <= len(t); i++ {
		if i < len(t) && t[i]-t[i-1] <= gap*dt {
			continue
		}
		if i-start > to-from {
			from, to = start, i
		}
		start = i
	}
	t, y = t[from:to], y[from:to]
	if len(t) < 2 {
		return nil
	}
	n := int((t[len(t)-1]-t[0])/dt) + 1
	out := make([]float64, 0, n)
	k := 0
	for i := range n {
		x := t[0] + float64(i)*dt
		for k+2 < len(t) && t[k+1] < x {
			k++
		}
		w := 0.0
		if t[k+1] > t[k] {
			w = min(max((x-t[k])/(t[k+1]-t[k]), 0), 1)
		}
		out = append(out, y[k]+w*(y[k+1]-y[k]))
	}
	return out
}
