package main

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/atmos"
	"padlark/ingest"
	"padlark/storage"
	"padlark/storage/logimport"
)

// alignedFlight is one flight of the log and the radio flight it lies over.
type alignedFlight struct {
	Flight       int    `json:"flight"` // of the log
	RadioSession string `json:"radio_session"`
	RadioFlight  int    `json:"radio_flight"`
	logimport.Alignment
	Begins time.Time `json:"log_begins_at"` // its stretch, by the station's time
	Better string    `json:"denser_and_cleaner"`
	Merged string    `json:"merged_session"`

	stretch int
}

// String says the alignment in one line.
func (a alignedFlight) String() string {
	return fmt.Sprintf("flight %d is flight %d of session %s: the log begins at %s by the station's clock; "+
		"correlation of heights %.5f, rms difference %.2f m, over %.1f s; denser and cleaner: %s; merged in session %s",
		a.Flight, a.RadioFlight, a.RadioSession, a.Begins.UTC().Format("2006-01-02T15:04:05.000Z"),
		a.Correlation, a.RMSM, a.OverlapS, a.Better, a.Merged)
}

// store finds the log's time and stores it, alone and merged.
func (m *logImport) store(ctx context.Context) error {
	heard, err := m.radioFlights(ctx)
	if err != nil {
		return err
	}
	if len(heard) > 0 {
		if err := m.tryAlign(ctx, heard); err != nil {
			return err
		}
	}
	epoch, err := m.date()
	if err != nil {
		return err
	}
	m.epoch = epoch
	id := epoch.UTC().Format("20060102-150405") + logMark + m.sum
	p, err := m.keep(ctx, m.session(id, epoch, m.cfg, m.link), m.cfg, m.alone(id, epoch))
	if err != nil {
		return err
	}
	m.done.Session = id
	for _, e := range p.events {
		if e.Kind == flight.Liftoff {
			m.done.Flights++
		}
	}
	return m.mergeAll(ctx)
}

// alone is the log's own frames.
func (m *logImport) alone(session string, epoch time.Time) frameSource {
	return func(ctx context.Context, fn func(f *ingest.Frame, said *decode.Parsed) error) error {
		return m.log.Each(ctx, session, epoch, fn)
	}
}

// tryAlign runs the log on a time line of its own, to see the flights in it.
func (m *logImport) tryAlign(ctx context.Context, heard []radioFlight) error {
	epoch := time.Unix(0, 0).UTC()
	var points []logimport.Point
	h := heights{rocket: m.cmd.Rocket}
	trial := &player{cfg: m.cfg, id: "trial", epoch: epoch, sample: func(s *decode.Sample) { points = h.add(points, s) }}
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

func (h *heights) add(to []logimport.Point, s *decode.Sample) []logimport.Point {
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
		return append(to, logimport.Point{At: s.At, M: scale * math.Log(h.p0/p)})
	case isA && h.kind != decode.PressurePa:
		h.kind = decode.AltitudeM
		return append(to, logimport.Point{At: s.At, M: a})
	}
	return to
}

// alignMargin is how much of the pad and of the rest on the ground is compared.
const alignMargin = 5 * time.Second

// flightMost bounds a flight without a touchdown.
const flightMost = 5 * time.Minute

// around cuts out the points of a flight.
func around(points []logimport.Point, up time.Time, down *time.Time) []logimport.Point {
	end := up.Add(flightMost)
	if down != nil {
		end = down.Add(alignMargin)
	}
	var out []logimport.Point
	for _, p := range points {
		if !p.At.Before(up.Add(-alignMargin)) && !p.At.After(end) {
			out = append(out, p)
		}
	}
	return out
}

// alignAll looks for the radio flight of each flight of the log.
func (m *logImport) alignAll(candidates []radioFlight, events []flight.Event, points []logimport.Point) {
	for _, up := range events {
		if up.Kind != flight.Liftoff || up.Rocket != m.cmd.Rocket {
			continue
		}
		var down *time.Time
		for _, e := range events {
			if e.Kind == flight.Touchdown && e.Rocket == up.Rocket && e.Flight == up.Flight {
				down = &e.At
			}
		}
		own := around(points, up.At, down)
		stretch := m.log.Of(up.At.Sub(time.Unix(0, 0)))
		best := alignedFlight{Flight: up.Flight, stretch: stretch}
		for _, c := range candidates {
			a, ok := logimport.Align(own, c.points)
			if ok && a.Good(highest(own)) && a.Correlation > best.Correlation {
				best.RadioSession, best.RadioFlight, best.Alignment = c.session, c.flight, a
			}
		}
		if best.RadioSession == "" || stretch < 0 {
			continue
		}
		best.Begins = time.Unix(0, 0).Add(m.log.Stretches[stretch].Base + best.Offset)
		best.OffsetS = best.Offset.Seconds()
		m.done.Aligned = append(m.done.Aligned, best)
	}
}

func highest(p []logimport.Point) float64 {
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
	points  []logimport.Point
}

func (m *logImport) radioFlights(ctx context.Context) ([]radioFlight, error) {
	all, err := m.archive.Sessions(ctx)
	if err != nil {
		return nil, err
	}
	var out []radioFlight
	for _, s := range all {
		if _, isLog := logOf(s.ID); isLog {
			continue
		}
		spans, err := m.archive.Flights(ctx, s.ID)
		if err != nil {
			return nil, err
		}
		for _, f := range spans {
			if f.Rocket != m.cmd.Rocket || f.Liftoff == nil {
				continue
			}
			one := radioFlight{session: s.ID, flight: f.Flight}
			h := heights{rocket: f.Rocket}
			merger := decode.NewMerger() // several links may have heard it
			q := storage.Query{Session: s.ID, Rocket: f.Rocket, Flight: f.Flight, Margin: alignMargin}
			err := m.archive.Samples(ctx, q, func(smp *decode.Sample) error {
				if v, first := merger.Add(*smp); first {
					one.points = h.add(one.points, &v)
				}
				return nil
			})
			if err != nil {
				return nil, err
			}
			slices.SortStableFunc(one.points, func(a, b logimport.Point) int { return a.At.Compare(b.At) })
			out = append(out, one)
		}
	}
	return out, nil
}

// date puts the stretches where they belong and gives the log's epoch.
func (m *logImport) date() (time.Time, error) {
	st := m.log.Stretches
	if len(m.done.Aligned) > 0 {
		first := m.done.Aligned[0]
		epoch := first.Begins.Add(-st[first.stretch].Base).Round(time.Microsecond).UTC()
		for _, a := range m.done.Aligned {
			m.moveTo(a.stretch, a.Begins.Sub(epoch).Round(time.Microsecond))
		}
		// The epoch is where the log begins.
		if back := st[0].Base; back != 0 {
			epoch = epoch.Add(back)
			for i := range st {
				st[i].Base -= back
			}
		}
		m.done.Dated = "from the flight that was also heard by radio"
		return epoch, nil
	}
	if m.cmd.At != "" {
		at, err := time.Parse(time.RFC3339Nano, m.cmd.At)
		if err != nil {
			return at, usagef("--at %s: write it as 2026-06-13T09:30:00Z", m.cmd.At)
		}
		m.done.Dated = "as said with --at"
		return at.UTC(), nil
	}
	if m.log.Heard {
		m.done.Dated = "as the capture has it"
		return m.log.Begins.UTC(), nil
	}
	m.done.Dated = "not known; the log is taken to end when its file was written; --at TIME says better"
	return m.written.Add(-m.log.End()).UTC().Truncate(time.Second), nil
}

// moveTo moves a stretch and those after it, if that keeps their order.
func (m *logImport) moveTo(k int, base time.Duration) {
	st := m.log.Stretches
	if k > 0 && base < st[k-1].Base+st[k-1].Length {
		m.log.Hints = append(m.log.Hints, fmt.Sprintf("stretch %d of the log would lie before the one before it; its time is left open", k+1))
		return
	}
	by := base - st[k].Base
	for i := k; i < len(st); i++ {
		st[i].Base += by
	}
}
