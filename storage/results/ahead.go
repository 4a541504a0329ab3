package results

import (
	"context"
	"time"

	"padlark/flight"
	"padlark/flight/phrase"
	"padlark/storage"
	"padlark/storage/sqlite"
)

// Waiting is the reason of the verdict of a flight that is not worked out yet.
const Waiting = "waiting"

// listedFor is how long a list may take to work flights out.
const listedFor = 400 * time.Millisecond

// Listed is EveryFlight for somebody who waits for a page: after a moment, those that
// are not worked out yet are there with what the events say, and the reason Waiting.
// So it is with the season of a club after an update of the program.
func (r *Results) Listed(ctx context.Context, session string) ([]flight.Result, error) {
	return r.listedUntil(ctx, session, time.Now().Add(listedFor))
}

func (r *Results) listedUntil(ctx context.Context, session string, until time.Time) ([]flight.Result, error) {
	return resultsOf(r.listBy(ctx, session, r.archive.EveryFlight, func(ctx context.Context, s *storage.Session, span *sqlite.FlightSpan) (Summary, bool, error) {
		if time.Now().Before(until) || r.isKnown(s.ID, span) {
			one, err := r.summary(ctx, s.ID, span)
			return one, err == nil, err
		}
		res := flight.Result{Session: s.ID, Rocket: span.Rocket, Flight: span.Flight, Alarms: []string{}}
		res.Judge(flight.Look, phrase.Of(Waiting))
		for _, t := range []struct {
			from *time.Time
			to   **time.Time
		}{{span.Liftoff, &res.LaunchedAt}, {span.Touchdown, &res.TouchdownAt}} {
			if t.from != nil {
				at := s.Corrected(*t.from)
				*t.to = &at
			}
		}
		return Summary{Result: res}, false, nil
	}))
}

// isKnown says whether a flight was worked out by this program while it ran.
func (r *Results) isKnown(session string, span *sqlite.FlightSpan) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	_, ok := r.known[key{session, span.Rocket, span.Flight}]
	return ok
}

// WorkAhead works out what no summary is kept of, the newest first, until that is
// done or ctx ends. After each flight it asks rest how long to wait, with the time
// that the flight took: nothing here is as urgent as what is heard. It returns how
// many flights it has worked out.
func (r *Results) WorkAhead(ctx context.Context, rest func(took time.Duration) time.Duration) (n int, err error) {
	_, err = r.listBy(ctx, "", r.archive.EveryFlight, func(ctx context.Context, s *storage.Session, span *sqlite.FlightSpan) (Summary, bool, error) {
		if s.Ended.IsZero() && r.isKnown(s.ID, span) {
			return Summary{}, false, nil
		}
		begun := time.Now()
		one, err := r.summary(ctx, s.ID, span)
		if err != nil {
			return one, false, err
		}
		n++
		select {
		case <-time.After(rest(time.Since(begun))):
			return one, true, nil
		case <-ctx.Done():
			return one, true, ctx.Err()
		}
	})
	if ctx.Err() != nil {
		return n, nil
	}
	return n, err
}
