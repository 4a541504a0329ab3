package logimport

import (
	"context"
	"math"
	"slices"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/atmos"
	"padlark/ingest"
	"padlark/storage"
)

// alone is the log's own frames.
func (m *Job) alone(session string, epoch time.Time) frameSource {
	return func(ctx context.Context, fn func(f *ingest.Frame, said *decode.Parsed) error) error {
		return m.Log.Each(ctx, session, epoch, fn)
	}
}

// tryAlign runs the log on a time line of its own, to see the flights in it.
func (m *Job) tryAlign(ctx context.Context, heard []radioFlight) error {
	epoch := time.Unix(0, 0).UTC()
	var points []Point
	h := heights{rocket: m.Rocket}
	trial := &player{cfg: m.Config, id: "trial", epoch: epoch, sample: func(s *decode.Sample) { points = h.add(points, s) }}
	if err := trial.play(ctx, m.alone("trial", epoch)); err != nil {
		return err
	}
	m.alignAll(heard, trial.events, points)
	return nil
}

// heights turns samples into heights for laying over each other: above the
// first reading, by the hypsometric equation with the standard's temperature,
// since only the shape matters. One kind of reading is used throughout.
type heights struct {
	rocket string
	p0     float64
	kind   string
}

func (h *heights) add(to []Point, s *decode.Sample) []Point {
	if s.Rocket != h.rocket {
		return to
	}
	p, isP := s.Values.Get(decode.PressurePa)
	a, isA := s.Values.Get(decode.AltitudeM)
	switch {
	case isP && p > 0 && h.kind != decode.AltitudeM:
		if h.kind == "" {
			h.kind, h.p0 = decode.PressurePa, p
		}
		const scale = atmos.GasConstantISO * atmos.StandardTemperature / atmos.StandardGravity // m
		return append(to, Point{At: s.At, M: scale * math.Log(h.p0/p)})
	case isA && h.kind != decode.PressurePa:
		h.kind = decode.AltitudeM
		return append(to, Point{At: s.At, M: a})
	}
	return to
}

// alignMargin is how much of the pad and of the rest on the ground is compared.
const alignMargin = 5 * time.Second

// flightMost bounds a flight without a touchdown.
const flightMost = 5 * time.Minute

// around cuts out the points of a flight.
func around(points []Point, up time.Time, down *time.Time) []Point {
	end := up.Add(flightMost)
	if down != nil {
		end = down.Add(alignMargin)
	}
	var out []Point
	for _, p := range points {
		if !p.At.Before(up.Add(-alignMargin)) && !p.At.After(end) {
			out = append(out, p)
		}
	}
	return out
}

// alignAll looks for the radio flight of each flight of the log.
func (m *Job) alignAll(candidates []radioFlight, events []flight.Event, points []Point) {
	for _, up := range events {
		if up.Kind != flight.Liftoff || up.Rocket != m.Rocket {
			continue
		}
		var down *time.Time
		for _, e := range events {
			if e.Kind == flight.Touchdown && e.Rocket == up.Rocket && e.Flight == up.Flight {
				down = &e.At
			}
		}
		own := around(points, up.At, down)
		stretch := m.Log.Of(up.At.Sub(time.Unix(0, 0)))
		best := Aligned{Flight: up.Flight, stretch: stretch}
		for _, c := range candidates {
			a, ok := Align(own, c.points)
			if ok && a.Good(span(own)) && a.Correlation > best.Correlation {
				best.RadioSession, best.RadioFlight, best.Alignment = c.session, c.flight, a
			}
		}
		if best.RadioSession == "" || stretch < 0 {
			continue
		}
		best.Begins = time.Unix(0, 0).Add(m.Log.Stretches[stretch].Base + best.Offset)
		best.OffsetS = best.Offset.Seconds()
		m.done.Aligned = append(m.done.Aligned, best)
	}
}

func span(p []Point) float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range p {
		lo, hi = min(lo, v.M), max(hi, v.M)
	}
	return hi - lo
}

// radioFlight is a flight of the archive that was heard.
type radioFlight struct {
	session string
	flight  int
	points  []Point
}

func (m *Job) radioFlights(ctx context.Context) ([]radioFlight, error) {
	all, err := m.Archive.Sessions(ctx)
	if err != nil {
		return nil, err
	}
	var out []radioFlight
	for _, s := range all {
		if _, isLog := logOf(s.ID); isLog {
			continue
		}
		spans, err := m.Archive.Flights(ctx, s.ID)
		if err != nil {
			return nil, err
		}
		for _, f := range spans {
			if f.Rocket != m.Rocket || f.Liftoff == nil {
				continue
			}
			one := radioFlight{session: s.ID, flight: f.Flight}
			h := heights{rocket: f.Rocket}
			merger := decode.NewMerger() // several links may have heard it
			q := storage.Query{Session: s.ID, Rocket: f.Rocket, Flight: f.Flight, Margin: alignMargin}
			err := m.Archive.Samples(ctx, q, func(smp *decode.Sample) error {
				if v, first := merger.Add(*smp); first {
					one.points = h.add(one.points, &v)
				}
				return nil
			})
			if err != nil {
				return nil, err
			}
			slices.SortStableFunc(one.points, func(a, b Point) int { return a.At.Compare(b.At) })
			out = append(out, one)
		}
	}
	return out, nil
}
