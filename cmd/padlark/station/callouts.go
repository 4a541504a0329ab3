package station

import (
	"context"
	"time"

	"padlark/flight"
	"padlark/watch"
	"padlark/watch/callout"
)

// caller says aloud what the watcher finds.
type caller struct {
	planner *callout.Planner
	speaker *callout.Speaker
	now     func() time.Time // session time
}

// headStart is how long a callout waits at most until what it says is on the
// bus and its viewers have it: they must not wait for the start of a program.
const headStart = 5 * time.Millisecond

// newCaller makes a caller, nil if nothing is to be said aloud here.
func (s *station) newCaller() *caller {
	if len(s.cfg.Callout.Command) == 0 || s.recorded() {
		return nil
	}
	report := func(err error) {
		if err != nil {
			s.log.Error().Err(err).Msg("the callout command does not work; the pages go on speaking")
			return
		}
		s.log.Info().Msg("the callout command works again")
	}
	speaker := callout.NewSpeaker(s.cfg.Callout, report)
	speaker.Before = func(ctx context.Context) {
		ctx, stop := context.WithTimeout(ctx, headStart)
		defer stop()
		_ = s.bus.Settle(ctx) // a bus in trouble says so itself
	}
	planner := callout.NewPlanner(s.cfg.Callout)
	if len(s.cfg.Rockets) > 0 {
		planner.Ours = func(rocket string) bool {
			_, known := flight.RocketNamed(s.cfg.Rockets, rocket)
			return known
		}
	}
	return &caller{
		planner: planner,
		speaker: speaker,
		now:     func() time.Time { return s.clock.At(s.clock.Now()) },
	}
}

// tell takes one step of the watch. It is called from one goroutine at a time.
func (c *caller) tell(st *flight.State, out watch.Output) {
	for _, call := range c.planner.Take(st, out.Events, out.Alarms) {
		c.speaker.Offer(call, c.age(st, out))
	}
}

// again says warnings that stood when the session was interrupted.
func (c *caller) again(alarms []flight.Alarm) {
	for _, call := range c.planner.Again(alarms) {
		c.speaker.Offer(call, 0)
	}
}

// age is how old the news is: since the sample was heard that brought it.
func (c *caller) age(st *flight.State, out watch.Output) time.Duration {
	var at time.Time
	switch {
	case st != nil:
		at = st.Heard
	case len(out.Alarms) > 0:
		at = out.Alarms[0].ChangedAt
	case len(out.Events) > 0:
		at = out.Events[0].CalledAt
	default:
		return 0
	}
	return max(0, c.now().Sub(at))
}
