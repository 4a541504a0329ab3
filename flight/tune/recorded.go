package tune

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"sort"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/smooth"
)

// ErrNotEnough is returned for a recorded flight that a rule cannot be tried
// on.
var ErrNotEnough = errors.New("the recording does not hold what a rule would have seen")

// fillS is the longest gap in s that is filled in, and mostFilled the largest
// part of the readings that may be.
const (
	fillS      = 1.0
	mostFilled = 0.3
)

// Recorded makes a Flight of the samples that a station heard of one, and of
// what was worked out from them. A rule runs on the board, which lost nothing:
// readings that were lost on the way are filled in by a straight line, so that
// counts and filters keep their time. The error wraps ErrNotEnough if too many
// are missing, or the apogee or liftoff is not known.
func Recorded(name string, samples []decode.Sample, r *flight.Result, series *smooth.Series) (Flight, error) {
	if r.LaunchedAt == nil || r.ApogeeAt == nil || r.ApogeeM == nil {
		return Flight{}, fmt.Errorf("use flight %s: no liftoff or no apogee was found in it: %w", name, ErrNotEnough)
	}
	samples = oneBoot(samples, *r.ApogeeAt)
	if len(samples) < 20 {
		return Flight{}, fmt.Errorf("use flight %s: %d readings with the board's clock: %w", name, len(samples), ErrNotEnough)
	}
	epoch := *r.LaunchedAt
	f := Flight{
		Name: name, ApogeeS: r.ApogeeAt.Sub(epoch).Seconds(), ApogeeM: *r.ApogeeM,
		TouchdownS: since(epoch, r.TouchdownAt), ReleasedS: since(epoch, r.ReleaseAt),
	}
	if err := f.fill(samples, epoch); err != nil {
		return Flight{}, fmt.Errorf("use flight %s: %w", name, err)
	}
	off := series.Start.Sub(epoch).Seconds()
	f.At = func(s float64) (float64, float64) {
		return lookUp(series.T, series.Height, s-off), lookUp(series.T, series.Speed, s-off)
	}
	return f, nil
}

// since is a moment in s after the epoch, +Inf for none.
func since(epoch time.Time, t *time.Time) float64 {
	if t == nil {
		return math.Inf(1)
	}
	return t.Sub(epoch).Seconds()
}

// oneBoot keeps the samples of the run of the board in which the apogee was,
// each message once, in the order of the board's clock.
func oneBoot(samples []decode.Sample, apogee time.Time) []decode.Sample {
	var boot uint32
	best := time.Duration(math.MaxInt64)
	for i := range samples {
		if d := samples[i].At.Sub(apogee).Abs(); d < best {
			best, boot = d, samples[i].Boot
		}
	}
	var out []decode.Sample
	for _, s := range samples {
		if _, ok := s.Values.Get(decode.PressurePa); ok && s.Boot == boot && s.Clock >= 0 {
			out = append(out, s)
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Clock < out[j].Clock })
	return slices.CompactFunc(out, func(a, b decode.Sample) bool { return a.Clock == b.Clock })
}

// fill writes the readings, and those that are missing between two.
func (f *Flight) fill(samples []decode.Sample, epoch time.Time) error {
	period := periodUs(samples)
	filled := 0
	for i := range samples {
		s := &samples[i]
		p, _ := s.Values.Get(decode.PressurePa)
		at := s.At.Sub(epoch).Seconds()
		if i > 0 {
			before := &samples[i-1]
			gap := s.Clock - before.Clock
			lost := missing(before, s, period)
			if float64(gap) > fillS*1e6 && at > -5 && at < f.ApogeeS+2 {
				return fmt.Errorf("nothing was heard for %.1f s at %.1f s after liftoff: %w", float64(gap)/1e6, at, ErrNotEnough)
			}
			if float64(gap) <= fillS*1e6 {
				p0, _ := before.Values.Get(decode.PressurePa)
				at0 := before.At.Sub(epoch).Seconds()
				for k := 1; k <= lost; k++ {
					u := float64(k) / float64(lost+1)
					f.add(at0+u*(at-at0), before.Clock+int64(u*float64(gap)), p0+u*(p-p0))
				}
				filled += lost
			}
		}
		f.add(at, s.Clock, p)
	}
	f.Filled = float64(filled) / float64(len(f.Ms))
	switch {
	case f.Filled > mostFilled:
		return fmt.Errorf("%.0f %% of the frames were lost, more than the %.0f %% that can be filled in: %w", 100*f.Filled, 100*mostFilled, ErrNotEnough)
	case f.AtS[0] > -0.5:
		return fmt.Errorf("it begins %.1f s before liftoff; a rule needs half a second of the pad: %w", -f.AtS[0], ErrNotEnough)
	}
	return nil
}

// periodUs is the usual time between two readings in us.
func periodUs(samples []decode.Sample) int64 {
	d := make([]int64, 0, len(samples))
	for i := 1; i < len(samples); i++ {
		gap := samples[i].Clock - samples[i-1].Clock
		if n := samples[i].Seq - samples[i-1].Seq; samples[i].Seq >= 0 && n > 0 {
			gap /= n
		}
		d = append(d, gap)
	}
	slices.Sort(d)
	return max(d[len(d)/2], 1)
}

// missing is how many readings are missing between two samples: by the
// board's own numbers, or by its clock if it sends none.
func missing(a, b *decode.Sample, period int64) int {
	if a.Seq >= 0 && b.Seq > a.Seq {
		return int(min(b.Seq-a.Seq-1, 1000))
	}
	n := (b.Clock - a.Clock + period/2) / period
	return int(min(max(n-1, 0), 1000))
}

// lookUp interpolates y(x) between the points, level beyond the ends; NaN if
// there are none.
func lookUp(x, y []float64, at float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	i := sort.SearchFloat64s(x, at)
	switch {
	case i == 0:
		return y[0]
	case i == len(x):
		return y[len(y)-1]
	}
	u := (at - x[i-1]) / (x[i] - x[i-1])
	return y[i-1] + u*(y[i]-y[i-1])
}
