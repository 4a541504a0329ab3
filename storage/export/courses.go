package export

import (
	"context"
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/smooth"
	"padlark/storage"
)

// Course is the worked-out course of one flight.
type Course struct {
	Result flight.Result
	Series smooth.Series
}

// Names of the columns that come from the course of a flight.
const (
	sinceLiftoff = "since_liftoff_s"
	heightM      = "height_m" // above the pad
	heightSD     = "height_sd_m"
	speedMps     = "speed_mps" // upward
	speedSD      = "speed_sd_mps"
	phase        = "phase" // 0 waiting, 1 boost, 2 coast, 3 descent, 4 landed
)

// CourseColumns lists them.
func CourseColumns() []string {
	return []string{sinceLiftoff, heightM, heightSD, speedMps, speedSD, phase}
}

// Columns is a source that gives only some channels of another, in this order, and
// those that are computed from the courses of the flights.
type Columns struct {
	Source  Source
	Names   []string
	Courses []Course
}

// ChannelNames are the chosen columns; the error names one that is not there.
func (c *Columns) ChannelNames(ctx context.Context, q storage.Query) ([]string, error) {
	have, err := channels(ctx, c.Source, q)
	if err != nil {
		return nil, err
	}
	have = append(have, CourseColumns()...)
	for _, n := range c.Names {
		if !slices.Contains(have, n) {
			return nil, fmt.Errorf("there is no column %q; there are %s", n, strings.Join(have, ", "))
		}
	}
	return c.Names, nil
}

// Sessions tells how times were fixed, if the source knows.
func (c *Columns) Sessions(ctx context.Context) ([]storage.Session, error) {
	if d, ok := c.Source.(dated); ok {
		return d.Sessions(ctx)
	}
	return nil, nil
}

// Samples gives the chosen channels of each sample.
func (c *Columns) Samples(ctx context.Context, q storage.Query, fn func(*decode.Sample) error) error {
	values := make([]float64, len(c.Names))
	return c.Source.Samples(ctx, q, func(s *decode.Sample) error {
		out := *s
		out.Values = decode.Channels{Names: c.Names, Values: values}
		course := c.courseOf(s)
		for i, n := range c.Names {
			values[i] = math.NaN()
			if slices.Contains(CourseColumns(), n) {
				if course != nil {
					values[i] = course.at(n, s.At)
				}
			} else if v, ok := s.Values.Get(n); ok {
				values[i] = v
			}
		}
		return fn(&out)
	})
}

// courseOf is the flight that a sample belongs to: the last whose course has begun.
func (c *Columns) courseOf(s *decode.Sample) (of *Course) {
	for i := range c.Courses {
		k := &c.Courses[i]
		if k.Result.Session != s.Session || k.Result.Rocket != s.Rocket || len(k.Series.T) == 0 {
			continue
		}
		if of == nil || !s.At.Before(k.Series.Start) {
			of = k
		}
	}
	return of
}

// at is a column's value at an instant, NaN outside of the course.
func (c *Course) at(name string, at time.Time) float64 {
	s := &c.Series
	switch name {
	case sinceLiftoff:
		if c.Result.LaunchedAt == nil {
			return math.NaN()
		}
		return at.Sub(*c.Result.LaunchedAt).Seconds()
	case phase:
		return c.phase(at)
	}
	list := map[string][]float64{heightM: s.Height, heightSD: s.HeightSD, speedMps: s.Speed, speedSD: s.SpeedSD}[name]
	t := at.Sub(s.Start).Seconds()
	i := sort.SearchFloat64s(s.T, t)
	switch {
	case len(list) != len(s.T) || i == len(s.T) && (i == 0 || t > s.T[i-1]) || i == 0 && t < s.T[0]:
		return math.NaN()
	case s.T[i] == t || i == 0:
		return list[i]
	}
	part := (t - s.T[i-1]) / (s.T[i] - s.T[i-1])
	return list[i-1] + part*(list[i]-list[i-1])
}

// phase is where the flight is at an instant, as a number.
func (c *Course) phase(at time.Time) float64 {
	r := &c.Result
	since := func(k *time.Time) bool { return k != nil && !at.Before(*k) }
	switch {
	case r.LaunchedAt == nil:
		return math.NaN()
	case since(r.TouchdownAt):
		return 4
	case since(r.ApogeeAt):
		return 3
	case since(r.LaunchedAt) && r.BurnoutS != nil && at.Sub(*r.LaunchedAt).Seconds() >= *r.BurnoutS:
		return 2
	case since(r.LaunchedAt):
		return 1
	}
	return 0
}
