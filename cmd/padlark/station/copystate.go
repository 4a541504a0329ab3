package station

import (
	"context"
	"time"

	"padlark/storage/influx"
	"padlark/web"
)

// copyState tells the pages and /metrics how the copy to the time-series
// server is.
type copyState struct {
	writer *influx.Writer
	url    string
}

// copier is what the pages ask; nil if no copy is configured.
func (s *station) copier() web.Copier {
	if s.copy == nil {
		return nil
	}
	return copyState{s.copy, s.cfg.Storage.Influx.URL}
}

// CopyState is the writer's own state.
func (c copyState) CopyState(context.Context) (web.CopyState, error) {
	s := c.writer.State()
	out := web.CopyState{
		URL: c.url, State: "up to date", Trouble: s.Trouble, Since: given(s.Since), LastAt: given(s.LastOK), Backlog: s.Left,
		Points: s.Lines, Aside: s.Rejected, AsideFile: c.writer.RejectedPath(), Requests: s.Requests, Failures: s.Failures,
	}
	switch {
	case s.Trouble != "":
		out.State = "waiting"
	case s.Left > 0:
		out.State = "sending"
	}
	return out, nil
}

// given is a time, nil for none.
func given(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	return &t
}
