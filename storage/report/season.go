package report

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/storage/sqlite"
)

// Season is what one rocket has done so far. Unknown is nil.
type Season struct {
	Rocket  string     `json:"rocket"`
	Flights int        `json:"flights"`
	First   *time.Time `json:"first_at"`
	Last    *time.Time `json:"last_at"`
	BestM   *float64   `json:"best_m"`
	BestSD  *float64   `json:"best_sd_m"`
	BestOf  string     `json:"best_flight"`
	Apogee  Spread     `json:"apogee_m"`
	Sink    Spread     `json:"descent_mps"`
	// Releases are flights in which the release is known to have come or not;
	// InTime those in which it came within the rocket's delay after apogee and
	// not more than 0.3 s before it. RateLow and RateHigh are the 95 % interval
	// of the rate (Wilson).
	Releases int     `json:"releases_known"`
	InTime   int     `json:"releases_in_time"`
	RateLow  float64 `json:"rate_low"`
	RateHigh float64 `json:"rate_high"`
	// CellV is the supply at rest before each flight, CellTrend its change a
	// flight with its standard deviation, from three flights on.
	CellV       []float64    `json:"cell_v"`
	CellTrend   *float64     `json:"cell_v_per_flight"`
	CellTrendSD *float64     `json:"cell_v_per_flight_sd"`
	Checkup     *LastCheckup `json:"last_checkup"`
}

// earlyS is how long before the apogee a release still counts as in time, in s:
// the verdict of a flight draws the line there too.
const earlyS = 0.3

// Seasons sums up every rocket that flew or was checked, by name.
func (r *Reporter) Seasons(ctx context.Context) ([]Season, error) {
	all, err := List(ctx, r.Archive)
	if err != nil {
		return nil, err
	}
	refs := map[string][]Listed{}
	names := []string{}
	meet := func(name string) {
		if _, ok := refs[name]; !ok {
			refs[name] = nil
			names = append(names, name)
		}
	}
	for _, l := range all {
		meet(l.Rocket)
		refs[l.Rocket] = append(refs[l.Rocket], l)
	}
	checks, err := r.Archive.Checkups(ctx, "")
	if err != nil {
		return nil, err
	}
	last := map[string]*LastCheckup{}
	for _, c := range checks {
		meet(c.Rocket)
		last[c.Rocket] = &LastCheckup{c.At, c.Verdict}
	}
	slices.Sort(names)
	out := []Season{}
	for _, name := range names {
		s, err := r.season(ctx, name, refs[name])
		if err != nil {
			return nil, fmt.Errorf("season of %s: %w", name, err)
		}
		s.Checkup = last[name]
		out = append(out, s)
	}
	return out, nil
}

func (r *Reporter) season(ctx context.Context, name string, list []Listed) (Season, error) {
	s := Season{Rocket: name, Flights: len(list), CellV: []float64{}}
	var apogees, sinks []value
	for _, l := range list {
		f, err := r.Results.Flight(ctx, l.Session, l.Rocket, l.Flight)
		if err != nil {
			return s, err
		}
		res := &f.Result
		at := l.At
		if s.First == nil {
			s.First = &at
		}
		s.Last = &at
		if res.ApogeeM != nil {
			apogees = append(apogees, value{*res.ApogeeM, res.ApogeeSD})
			if s.BestM == nil || *res.ApogeeM > *s.BestM {
				s.BestM, s.BestSD, s.BestOf = res.ApogeeM, res.ApogeeSD, l.String()
			}
		}
		if res.DescentMps != nil {
			sinks = append(sinks, value{*res.DescentMps, res.DescentSD})
		}
		if err := r.countRelease(ctx, &s, l.Ref, res); err != nil {
			return s, err
		}
		v, ok, err := r.cellAtRest(ctx, l.Ref)
		if err != nil {
			return s, err
		}
		if ok {
			s.CellV = append(s.CellV, v)
		}
	}
	s.Apogee, s.Sink = spreadOf(apogees), spreadOf(sinks)
	s.RateLow, s.RateHigh = wilson(s.InTime, s.Releases)
	s.CellTrend, s.CellTrendSD = trend(s.CellV)
	return s, nil
}

// countRelease counts a flight whose release is known.
func (r *Reporter) countRelease(ctx context.Context, s *Season, ref Ref, res *flight.Result) error {
	session, err := r.Archive.Session(ctx, ref.Session)
	if err != nil {
		return err
	}
	delay := 1.0
	for _, k := range session.Rockets {
		if k.Name != ref.Rocket {
			continue
		}
		if k.Release == "none" {
			return nil
		}
		if k.ReleaseDelayS > 0 {
			delay = k.ReleaseDelayS
		}
	}
	switch {
	case res.ReleaseLagS != nil:
		s.Releases++
		if *res.ReleaseLagS <= delay && *res.ReleaseLagS >= -earlyS {
			s.InTime++
		}
	case res.ReleaseAt == nil && res.ApogeeAt != nil && res.TouchdownAt != nil:
		// It was heard all the way down and did not release.
		s.Releases++
	}
	return nil
}

// cellAtRest is the median of the supply from 10 s to 1 s before liftoff.
func (r *Reporter) cellAtRest(ctx context.Context, ref Ref) (v float64, ok bool, err error) {
	spans, err := r.Archive.Flights(ctx, ref.Session)
	if err != nil {
		return 0, false, err
	}
	i := slices.IndexFunc(spans, func(f sqlite.FlightSpan) bool { return f.Rocket == ref.Rocket && f.Flight == ref.Flight })
	if i < 0 || spans[i].Liftoff == nil {
		return 0, false, nil
	}
	up := *spans[i].Liftoff
	var cell []float64
	q := sqlite.Query{Session: ref.Session, Rocket: ref.Rocket, From: up.Add(-10 * time.Second), To: up.Add(-time.Second), Recorded: true}
	err = r.Archive.Samples(ctx, q, func(m *decode.Sample) error {
		if x, has := m.Values.Get(decode.CellV); has {
			cell = append(cell, x)
		}
		return nil
	})
	if err != nil || len(cell) == 0 {
		return 0, false, err
	}
	slices.Sort(cell)
	return cell[len(cell)/2], true, nil
}

// trend is the slope of v by its index with its standard deviation, by least
// squares; nil for fewer than three.
func trend(v []float64) (slope, sd *float64) {
	n := float64(len(v))
	if len(v) < 3 {
		return nil, nil
	}
	var mean float64
	for _, x := range v {
		mean += x / n
	}
	var xy, xx float64
	for i, y := range v {
		x := float64(i) - (n-1)/2
		xy, xx = xy+x*(y-mean), xx+x*x
	}
	b := xy / xx
	var rest float64
	for i, y := range v {
		d := y - mean - b*(float64(i)-(n-1)/2)
		rest += d * d
	}
	e := math.Sqrt(rest/(n-2)) / math.Sqrt(xx)
	return &b, &e
}
