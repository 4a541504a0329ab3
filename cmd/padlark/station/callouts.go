package station

import (
	"context"
	"reflect"
	"slices"
	"strings"
	"time"

	"golang.org/x/sync/errgroup"

	"padlark/cmd/padlark/config"
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

// startCaller calls out what the watcher finds, until ctx ends, as the configuration
// says at the time.
func (s *station) startCaller(ctx context.Context, g *errgroup.Group) {
	s.watcher.Tell = func(st *flight.State, out watch.Output) {
		if c := s.caller.Load(); c != nil {
			c.tell(st, out)
		}
	}
	stop := func() {}
	call := func(cfg *config.Config) {
		c := s.newCaller(cfg)
		s.caller.Store(c)
		stop()
		stop = func() {}
		if c != nil {
			var speaking context.Context
			speaking, stop = context.WithCancel(ctx)
			g.Go(func() error { return c.speaker.Run(speaking) })
		}
	}
	said := s.cfg.Callout
	call(s.cfg)
	if c := s.caller.Load(); c != nil && s.rebuilt != nil {
		c.again(s.rebuilt.newest())
	}
	s.callAs = func(cfg *config.Config) {
		if !reflect.DeepEqual(said, cfg.Callout) {
			call(cfg)
			said = cfg.Callout
		}
	}
}

// newCaller makes a caller, nil if nothing is to be said aloud here.
func (s *station) newCaller(cfg *config.Config) *caller {
	if len(cfg.Callout.Command) == 0 || s.recorded() {
		return nil
	}
	report := func(err error) {
		if err != nil {
			s.log.Error().Err(err).Msg("the callout command does not work; the pages go on speaking")
			return
		}
		s.log.Info().Msg("the callout command works again")
	}
	calls := cfg.Callout
	calls.Command = slices.Clone(calls.Command)
	for i, arg := range calls.Command {
		calls.Command[i] = strings.ReplaceAll(arg, "{language}", string(cfg.Station.Language))
	}
	speaker := callout.NewSpeaker(calls, report)
	speaker.Before = func(ctx context.Context) {
		ctx, stop := context.WithTimeout(ctx, headStart)
		defer stop()
		_ = s.bus.Settle(ctx) // a bus in trouble says so itself
	}
	planner := callout.NewPlanner(cfg.Callout)
	planner.Reader.Language = cfg.Station.Language
	planner.Ours = func(rocket string) bool {
		rockets := s.live.Load().Rockets
		_, known := flight.RocketNamed(rockets, rocket)
		return known || len(rockets) == 0
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
