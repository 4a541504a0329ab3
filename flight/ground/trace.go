package ground

import (
	"math"
	"time"

	"padlark/decode"
	"padlark/flight"
)

// FixOf is the position in a sample, NaN if it has none or its board says that it
// has no fix.
func FixOf(s *decode.Sample) (latitudeDeg, longitudeDeg float64) {
	lat, ok1 := s.Values.Get(decode.LatitudeDeg)
	lon, ok2 := s.Values.Get(decode.LongitudeDeg)
	if !s.HasFix() || !ok1 || !ok2 {
		return math.NaN(), math.NaN()
	}
	return lat, lon
}

// Track is the path of a flight over the ground, from the pad, one point a fix.
type Track struct {
	T       []float64 // s after the liftoff
	EastM   []float64
	NorthM  []float64
	HeightM []float64 // above the pad; NaN where not known
}

// Height tells the height of a flight above the pad in m, at a time, and how fast
// it sinks in m/s; NaN where that is not known.
type Height func(at time.Time) (heightM, sinkMps float64)

// Trace works out where a flight led from its samples, in order, and its result.
// The landing is nil where it cannot be known.
func Trace(r flight.Rocket, s flight.Site, samples []decode.Sample, res *flight.Result, height Height) (Track, *flight.Landing) {
	var out Track
	if res.LaunchedAt == nil || len(samples) == 0 {
		return out, nil
	}
	f := New(r, s)
	zero := *res.LaunchedAt
	for i := range samples {
		one := &samples[i]
		m := Moment{T: one.At.Sub(zero).Seconds(), Phase: phaseAt(one.At, res), HeightSD: math.NaN()}
		m.Released = res.ReleaseAt != nil && !one.At.Before(*res.ReleaseAt)
		m.LatitudeDeg, m.LongitudeDeg = FixOf(one)
		m.HeightM, m.SinkMps = height(one.At)
		last := f.fix
		f.Step(m)
		if inFlight(m.Phase) && f.fix != last && !math.IsNaN(f.pad.LatitudeDeg) {
			e, n := Plane(f.pad, f.fix.place)
			out.T, out.HeightM = append(out.T, m.T), append(out.HeightM, m.HeightM)
			out.EastM, out.NorthM = append(out.EastM, e), append(out.NorthM, n)
		}
	}
	l := f.Landing()
	if l == nil || res.TouchdownAt == nil && l.Source == flight.FromWind {
		return out, nil
	}
	return out, l
}

func phaseAt(at time.Time, res *flight.Result) flight.Phase {
	switch {
	case at.Before(*res.LaunchedAt):
		return flight.Waiting
	case res.TouchdownAt != nil && !at.Before(*res.TouchdownAt):
		return flight.Landed
	case res.ApogeeAt != nil && !at.Before(*res.ApogeeAt):
		return flight.Descent
	}
	return flight.Coast
}
