package web

import (
	"context"
	"fmt"
	"net/http"
	"strings"
	"time"

	"padlark/flight"
	"padlark/storage/report"
	"padlark/storage/results"
)

// flightList is what a page shows of many flights, newest first.
type flightList struct {
	Flights, Void []flightView
	Waiting       int // of Flights are not worked out yet
}

// shownFirst is how many flights a page lists until somebody asks for all: a season
// of a club has thousands, which are some megabytes.
const shownFirst = 300

// first are the newest flights, all of them if that is what a request asks for, and
// where all are listed if these are not.
func (l *flightList) first(r *http.Request) (shown []flightView, all string) {
	q := r.URL.Query()
	if q.Has("all") || len(l.Flights) <= shownFirst {
		return l.Flights, ""
	}
	q.Set("all", "1")
	return l.Flights[:shownFirst], "/flights?" + q.Encode()
}

// listed lists flights for a page, which must not wait until a season is worked out.
func (s *Server) listed(ctx context.Context, session, rocket string) (list flightList, err error) {
	all, err := s.opt.Flights.Listed(ctx, session)
	if err != nil {
		return list, fmt.Errorf("list flights: %w", err)
	}
	for _, v := range viewsOf(all, rocket) {
		switch {
		case v.Level == flight.Void:
			list.Void = append(list.Void, v)
			continue
		case v.Reason.Key == results.Waiting:
			list.Waiting++
		}
		list.Flights = append(list.Flights, v)
	}
	return list, nil
}

// totals are what all listed flights come to.
type totals struct {
	Flights, Good int
	InAir         string
	Best          *flightView // the highest
	Climbed       *float64    // m, over all
}

func totalsOf(views []flightView) totals {
	t := totals{Flights: len(views)}
	var air time.Duration
	climbed := 0.0
	for i := range views {
		v := &views[i]
		if v.Level == flight.Good {
			t.Good++
		}
		if v.DurationS != nil {
			air += time.Duration(*v.DurationS * float64(time.Second))
		}
		if v.ApogeeM == nil {
			continue
		}
		climbed += *v.ApogeeM
		if t.Best == nil || *v.ApogeeM > *t.Best.ApogeeM {
			t.Best = v
		}
	}
	if t.Best != nil {
		t.Climbed = &climbed
	}
	var zero time.Time
	end := zero.Add(air)
	t.InAir = spanWords(zero, &end)
	return t
}

// Size of a flight's curve in a list, in its own units.
const curveW, curveH, curvePoints = 120.0, 36.0, 60

// pageCurve draws a flight's height as one small line, for a list that asks for it
// when the row comes into sight.
func (s *Server) pageCurve(w http.ResponseWriter, r *http.Request) error {
	id, res, err := s.findFlight(r)
	if err != nil {
		return err
	}
	course, _, err := s.courses(r.Context(), id)
	if err != nil {
		return err
	}
	writeBody(w, r, "image/svg+xml", []byte(curveSVG(res, inFlight(res, course))))
	return nil
}

func curveSVG(res flight.Result, course *Course) string {
	var path strings.Builder
	if course != nil && len(course.T) > 1 {
		line := reduce(series{course.T, course.HeightM}, curvePoints)
		t0, t1, top := line.t[0], line.t[len(line.t)-1], 1.0
		for _, v := range line.v {
			top = max(top, v) // a NaN is none of the two
		}
		begin := "M"
		for i, v := range line.v {
			if number(v) == nil {
				begin = "M"
				continue
			}
			fmt.Fprintf(&path, "%s%.1f %.1f", begin, 2+(curveW-4)*(line.t[i]-t0)/max(t1-t0, 0.1), curveH-3-(curveH-6)*max(v, 0)/top)
			begin = "L"
		}
	}
	return fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %g %g" class="curve" aria-hidden="true"><path class="ground" d="M0 %gH%g"/><path d="%s"/></svg>`,
		curveW, curveH, curveH-2, curveW, path.String())
}

// comparedView is a flight with what people wrote of its set-up.
type comparedView struct {
	flightView
	report.Typed
}

// withSetups reads the notes of flights for fill, pressure, mass, nozzle and wind.
func (s *Server) withSetups(ctx context.Context, views []flightView) (out []comparedView, any report.Typed, err error) {
	for _, v := range views {
		c := comparedView{flightView: v}
		notes, err := s.notesOn(ctx, FlightID{v.Session, v.Rocket, v.Flight})
		if err != nil {
			return nil, any, err
		}
		texts := make([]string, len(notes))
		for i, n := range notes {
			texts[i] = n.Text
		}
		c.Typed = report.ReadTyped(texts)
		for _, p := range [][2]**float64{{&any.FillMl, &c.FillMl}, {&any.PressureBar, &c.PressureBar}, {&any.MassG, &c.MassG}, {&any.NozzleMm, &c.NozzleMm}, {&any.WindMps, &c.WindMps}} {
			if *p[1] != nil {
				*p[0] = *p[1]
			}
		}
		out = append(out, c)
	}
	return out, any, nil
}

// typedNum writes a number of a set-up, "–" if it was not written down.
func typedNum(v *float64, decimals int, unit string) string {
	if v == nil {
		return "–"
	}
	return trimMinus(fmt.Sprintf("%.*f %s", decimals, *v, unit))
}
