package smooth

import (
	"time"

	"padlark/decode"
	"padlark/flight"
)

// Piece is one flight cut out of a session.
type Piece struct {
	Flight  int
	Samples []decode.Sample // a part of what Cut was given
	Events  []flight.Event  // of this flight
}

// How much of the ground belongs to a flight.
const (
	padBefore = 30 * time.Second
	restAfter = 15 * time.Second
)

// Cut divides one rocket's samples, in the order in which they were heard,
// into its flights by the events of the live tracker. Each piece begins half a
// minute before liftoff (or where the samples of the flight before it end) and
// ends a quarter of a minute after touchdown; a flight without the one or the
// other runs to the end of the samples on that side.
func Cut(samples []decode.Sample, events []flight.Event) []Piece {
	var pieces []Piece
	at := map[int]int{}
	for _, e := range events {
		if e.Flight == 0 {
			continue
		}
		i, ok := at[e.Flight]
		if !ok {
			i = len(pieces)
			at[e.Flight] = i
			pieces = append(pieces, Piece{Flight: e.Flight})
		}
		pieces[i].Events = append(pieces[i].Events, e)
	}
	from := 0
	for i := range pieces {
		p := &pieces[i]
		begin, end := bounds(p.Events)
		first := from
		for first < len(samples) && !begin.IsZero() && samples[first].At.Before(begin) {
			first++
		}
		last := first
		for last < len(samples) && (end.IsZero() || !samples[last].At.After(end)) {
			if i+1 < len(pieces) && !pieces[i+1].first().IsZero() && !samples[last].At.Before(pieces[i+1].first().Add(-time.Second)) {
				break
			}
			last++
		}
		p.Samples = samples[first:last]
		from = last
	}
	return pieces
}

// first is the earliest event of the flight.
func (p *Piece) first() time.Time {
	var t time.Time
	for _, e := range p.Events {
		if t.IsZero() || e.At.Before(t) {
			t = e.At
		}
	}
	return t
}

// bounds are where a flight's samples begin and end; zero where they are open.
func bounds(events []flight.Event) (begin, end time.Time) {
	for _, e := range events {
		switch e.Kind {
		case flight.Liftoff:
			begin = e.At.Add(-padBefore)
		case flight.Touchdown:
			end = e.CalledAt.Add(restAfter)
		}
	}
	return begin, end
}
