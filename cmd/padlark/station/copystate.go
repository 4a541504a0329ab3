package station

import (
	"context"
	"time"

	"padlark/bus"
	"padlark/storage/influx"
	"padlark/web"
)

// copyState tells the pages and /metrics how the copy to the time-series
// server is.
type copyState struct {
	writer *influx.Writer
	bus    *bus.Bus
	url    string
}

// copier is what the pages ask; nil if no copy is configured.
func (s *station) copier() web.Copier {
	if s.copy == nil {
		return nil
	}
	return copyState{s.copy, s.bus, s.cfg.Storage.Influx.URL}
}

// CopyState is the writer's own state and the bus's count of what is left. With
// the error, from the bus, the rest is filled in.
func (c copyState) CopyState(ctx context.Context) (web.CopyState, error) {
	s := c.writer.State()
	out := web.CopyState{
		URL: c.url, State: "up to date", Trouble: s.Trouble, Since: given(s.Since), LastAt: given(s.LastOK),
		Points: s.Lines, Aside: s.Aside, AsideFile: c.writer.AsidePath(), Requests: s.Requests, Failures: s.Failures,
	}
	left, err := c.bus.Pending(ctx, influx.Durable)
	out.Backlog = left
	switch {
	case s.Trouble != "":
		out.State = "waiting"
	case left > 0:
		out.State = "sending"
	}
	return out, err
}

// given is a time, nil for none.
func given(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	return &t
}
