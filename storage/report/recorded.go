package report

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
	"padlark/storage/results"
	"padlark/storage/sqlite"
)

// Asked finds the flights that a person asks for: all, or a session (its name
// may be cut short), with ~rocket and ~number or without, or ROCKET-NUMBER.
// Where rocket is not "", only those of that rocket count.
func Asked(ctx context.Context, a *sqlite.Archive, asked []string, rocket string) ([]Ref, error) {
	all, err := List(ctx, a)
	if err != nil {
		return nil, err
	}
	var out []Ref
	for _, text := range asked {
		part := strings.Split(text, "~")
		if text != "all" {
			if part[0], err = FindSession(ctx, a, part[0]); err != nil {
				ref, _, ferr := Find(ctx, a, text) // Teal-1, as elsewhere
				if ferr != nil {
					return nil, err
				}
				part = strings.Split(ref.String(), "~")
			}
		}
		before := len(out)
		for _, l := range all {
			if text == "all" || l.Session == part[0] && (len(part) < 2 || l.Rocket == part[1]) && (len(part) < 3 || strconv.Itoa(l.Flight) == part[2]) {
				if rocket == "" || l.Rocket == rocket {
					out = append(out, l.Ref)
				}
			}
		}
		if len(out) == before {
			return nil, wrongName(fmt.Sprintf("--flights %s: there is no such flight; padlark flights --all lists what there is", text))
		}
	}
	return out, nil
}

// aroundFlight is how much of the pad and the ground is read with a flight.
const aroundFlight = 30 * time.Second

// ForTuning reads flights as flight/tune wants them; done hears of each. Those
// on which no rule can be tried are left out, with the reason.
func ForTuning(ctx context.Context, a *sqlite.Archive, refs []Ref, done func()) (flights []tune.Flight, left []string, err error) {
	work := results.New(a)
	for _, ref := range refs {
		f, err := forTuning(ctx, a, work, ref)
		switch {
		case errors.Is(err, tune.ErrNotEnough):
			left = append(left, err.Error())
		case err != nil:
			return nil, nil, err
		default:
			flights = append(flights, f)
		}
		done()
	}
	if len(flights) == 0 && len(refs) > 0 {
		return nil, nil, fmt.Errorf("--flights: none of the %d flights can be used; the first: %s", len(refs), left[0])
	}
	return flights, left, nil
}

func forTuning(ctx context.Context, a *sqlite.Archive, work *results.Results, ref Ref) (tune.Flight, error) {
	f, err := work.Flight(ctx, ref.Session, ref.Rocket, ref.Flight)
	if err != nil {
		return tune.Flight{}, err
	}
	s, err := a.Session(ctx, ref.Session)
	if err != nil {
		return tune.Flight{}, err
	}
	var samples []decode.Sample
	q := storage.Query{Session: ref.Session, Rocket: ref.Rocket, Flight: ref.Flight, Margin: aroundFlight}
	err = a.Samples(ctx, q, func(s *decode.Sample) error {
		samples = append(samples, *s)
		return nil
	})
	if err != nil {
		return tune.Flight{}, err
	}
	rec, err := tune.Recorded(ref.String(), samples, &f.Result, &f.Series)
	r, _ := flight.RocketNamed(s.Rockets, ref.Rocket)
	rec.Solid = r.Kind == "solid"
	return rec, err
}
