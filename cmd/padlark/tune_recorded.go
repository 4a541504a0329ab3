package main

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/flight/tune"
	"padlark/storage"
	"padlark/storage/report"
	"padlark/storage/results"
	"padlark/storage/sqlite"
)

// flightName names one recorded flight: session~rocket~number.
type flightName struct {
	session, rocket string
	number          int
	solid           bool
}

func (n flightName) String() string { return n.session + "~" + n.rocket + "~" + strconv.Itoa(n.number) }

// recorded reads the flights that were asked for. Those on which no rule can
// be tried are left out, with the reason.
func (c *tuneCmd) recorded(ctx context.Context, io *cmdIO) (flights []tune.Flight, left []string, err error) {
	if len(c.Flights) == 0 {
		return nil, nil, nil
	}
	a, err := c.open(ctx, io)
	if err != nil {
		return nil, nil, err
	}
	defer a.Close() //nolint:errcheck // only read from
	names, err := c.names(ctx, a)
	if err != nil {
		return nil, nil, err
	}
	p := newProgress(io.Err, "reading", "recorded flights", len(names))
	work := results.New(a)
	for _, n := range names {
		f, err := readRecorded(ctx, a, work, n)
		switch {
		case errors.Is(err, tune.ErrNotEnough):
			left = append(left, err.Error())
		case err != nil:
			return nil, nil, err
		default:
			flights = append(flights, f)
		}
		p.done()
	}
	warnLost(a, io)
	if len(flights) == 0 {
		return nil, nil, fmt.Errorf("--flights: none of the %d flights can be used; the first: %s", len(names), left[0])
	}
	return flights, left, nil
}

// names lists the flights that were asked for.
func (c *tuneCmd) names(ctx context.Context, a *sqlite.Archive) ([]flightName, error) {
	var out []flightName
	for _, said := range c.Flights {
		var sessions []sqlite.Session
		part := strings.Split(said, "~")
		if said == "all" {
			all, err := a.Sessions(ctx)
			if err != nil {
				return nil, err
			}
			sessions = all
		} else {
			id, err := sessionName(ctx, a, part[0])
			if err != nil {
				ref, _, ferr := report.Find(ctx, a, said) // Teal-1, as elsewhere
				if ferr != nil {
					return nil, err
				}
				id, part = ref.Session, strings.Split(ref.String(), "~")
			}
			s, err := a.Session(ctx, id)
			if err != nil {
				return nil, err
			}
			sessions = []sqlite.Session{s}
		}
		before := len(out)
		for _, s := range sessions {
			spans, err := a.Flights(ctx, s.ID)
			if err != nil {
				return nil, err
			}
			for _, f := range spans {
				n := flightName{s.ID, f.Rocket, f.Flight, isSolid(s.Rockets, f.Rocket)}
				if c.Rocket != "" && f.Rocket != c.Rocket ||
					len(part) > 1 && part[1] != n.rocket || len(part) > 2 && part[2] != strconv.Itoa(n.number) {
					continue
				}
				out = append(out, n)
			}
		}
		if len(out) == before {
			return nil, usagef("--flights %s: there is no such flight; padlark flights --all lists what there is", said)
		}
	}
	return out, nil
}

// isSolid says whether a rocket was configured as a solid one.
func isSolid(rockets []flight.Rocket, name string) bool {
	for _, r := range rockets {
		if r.Name == name {
			return r.Kind == "solid"
		}
	}
	return false
}

// aroundFlight is how much of the pad and the ground is read with a flight.
const aroundFlight = 30 * time.Second

// readRecorded reads one flight and works it out.
func readRecorded(ctx context.Context, a *sqlite.Archive, work *results.Results, n flightName) (tune.Flight, error) {
	f, err := work.Flight(ctx, n.session, n.rocket, n.number)
	if err != nil {
		return tune.Flight{}, err
	}
	var samples []decode.Sample
	q := storage.Query{Session: n.session, Rocket: n.rocket, Flight: n.number, Margin: aroundFlight}
	err = a.Samples(ctx, q, func(s *decode.Sample) error {
		samples = append(samples, *s)
		return nil
	})
	if err != nil {
		return tune.Flight{}, err
	}
	rec, err := tune.Recorded(n.String(), samples, &f.Result, &f.Series)
	rec.Solid = n.solid
	return rec, err
}
