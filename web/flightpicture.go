package web

import (
	"fmt"
	"sort"

	"padlark/flight"
	"padlark/storage/report"
	"padlark/storage/report/chart"
)

// flightPicture is the picture of the printed page, in the reader's units.
func flightPicture(res flight.Result, course, expected *Course, units reader) chart.Sheet {
	p := report.Picture{
		Series: seriesOf(course), Expected: seriesOf(expected),
		Title: fmt.Sprintf("%s, flight %d: height above the pad and vertical speed against time since liftoff", res.Rocket, res.Flight),
		Unit:  units.unitOf("height"), Metres: 1 / units.convert("height", 1),
	}
	at := func(kind flight.Kind, s *float64) {
		if s != nil {
			p.Events = append(p.Events, report.Moment{Kind: string(kind), T: *s})
		}
	}
	liftoff := 0.0
	at(flight.Liftoff, &liftoff)
	at(flight.Burnout, res.BurnoutS)
	at(flight.Apogee, res.TimeToApogeeS)
	if res.TimeToApogeeS != nil && res.ReleaseLagS != nil {
		release := *res.TimeToApogeeS + *res.ReleaseLagS
		at(flight.Release, &release)
	}
	at(flight.Touchdown, res.DurationS)
	sort.SliceStable(p.Events, func(i, k int) bool { return p.Events[i].T < p.Events[k].T })
	return p.Sheet(18.6*chart.CM, 9.5*chart.CM)
}

func seriesOf(c *Course) report.Series {
	if c == nil {
		return report.Series{}
	}
	return report.Series{T: c.T, Raw: c.RawM, Height: c.HeightM, HeightSD: c.HeightSD, Speed: c.SpeedMps, SpeedSD: c.SpeedSD}
}

// inFlight is the part of a course that belongs to the flight, with a little of
// the pad before and of the ground after it.
func inFlight(res flight.Result, c *Course) *Course {
	if c == nil || res.DurationS == nil {
		return c
	}
	margin := max(1, 0.06**res.DurationS)
	from := sort.SearchFloat64s(c.T, -margin)
	to := sort.SearchFloat64s(c.T, *res.DurationS+margin)
	if len(c.HeightM) != len(c.T) {
		return &Course{T: c.T[from:to]}
	}
	return &Course{T: c.T[from:to], HeightM: c.HeightM[from:to]}
}
