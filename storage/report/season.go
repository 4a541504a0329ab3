package report

import (
	"context"
	"math"
	"slices"
	"time"

	"padlark/flight"
	"padlark/storage"
	"padlark/storage/results"
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
	all, err := r.Results.Summaries(ctx, "")
	if err != nil {
		return nil, err
	}
	sessions, err := r.Archive.Sessions(ctx)
	if err != nil {
		return nil, err
	}
	of := map[string]*storage.Session{}
	for i := range sessions {
		of[sessions[i].ID] = &sessions[i]
	}
	flown := map[string][]results.Summary{}
	names := []string{}
	meet := func(name string) {
		if _, ok := flown[name]; !ok {
			flown[name] = nil
			names = append(names, name)
		}
	}
	for _, f := range all {
		meet(f.Result.Rocket)
		flown[f.Result.Rocket] = append(flown[f.Result.Rocket], f)
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
		s := season(name, flown[name], of)
		s.Checkup = last[name]
		out = append(out, s)
	}
	return out, nil
}

func season(name string, flown []results.Summary, of map[string]*storage.Session) Season {
	s := Season{Rocket: name, Flights: len(flown), CellV: []float64{}}
	var apogees, sinks []value
	for i := range flown {
		res := &flown[i].Result
		session := of[res.Session]
		ref := Ref{res.Session, res.Rocket, res.Flight}
		at := session.Corrected(session.Started)
		if res.LaunchedAt != nil {
			at = *res.LaunchedAt
		}
		if s.First == nil {
			s.First = &at
		}
		s.Last = &at
		if res.ApogeeM != nil {
			apogees = append(apogees, value{*res.ApogeeM, res.ApogeeSD})
			if s.BestM == nil || *res.ApogeeM > *s.BestM {
				s.BestM, s.BestSD, s.BestOf = res.ApogeeM, res.ApogeeSD, ref.String()
			}
		}
		if res.DescentMps != nil {
			sinks = append(sinks, value{*res.DescentMps, res.DescentSD})
		}
		s.countRelease(session, res)
		if v := flown[i].CellV; v != nil {
			s.CellV = append(s.CellV, *v)
		}
	}
	s.Apogee, s.Sink = spreadOf(apogees), spreadOf(sinks)
	s.RateLow, s.RateHigh = wilson(s.InTime, s.Releases)
	s.CellTrend, s.CellTrendSD = trend(s.CellV)
	return s
}

// countRelease counts a flight whose release is known.
func (s *Season) countRelease(session *storage.Session, res *flight.Result) {
	delay := 1.0
	for _, k := range session.Rockets {
		if k.Name != res.Rocket {
			continue
		}
		if k.Release == "none" {
			return
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
