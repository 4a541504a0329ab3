package influx

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"time"

	"padlark/flight"
	"padlark/flight/alarm"
)

// Kinds of the writer's alarms.
const (
	KindAway  = alarm.ServerAway  // the server takes nothing
	KindAside = alarm.ServerAside // the server refused lines for good
)

// failed notes trouble with the server and raises the one alarm about it: at
// once if a person must act, otherwise when it has lasted.
func (w *Writer) failed(ctx context.Context, err error) {
	now := w.opt.Now().UTC()
	var f *failure
	act := errors.As(err, &f) && f.verdict != tryAgain
	w.mu.Lock()
	first := w.state.Trouble == ""
	if first {
		w.state.Since = now
	}
	w.state.Trouble = err.Error()
	raise := w.away == nil && (act || now.Sub(w.state.Since) >= w.opt.AlarmAfter)
	if raise {
		w.away = w.newAlarm(KindAway, now, "The time-series server takes no data",
			fmt.Sprintf("%s: %v. Nothing is lost: it is sent when the server takes data again. %s", w.opt.URL, err, mend(f)))
	}
	w.mu.Unlock()
	if first {
		w.opt.Log.Warn().Err(err).Str("url", w.opt.URL).Msg("the time-series server takes no data; it is tried again with growing pauses")
	}
	if raise {
		w.publish(ctx, w.away)
	}
}

// mend says what a person can do.
func mend(f *failure) string {
	switch {
	case f == nil:
		return "Check that the station's folder can be written."
	case f.status == 401 || f.status == 403:
		return "Check the token: token_file or token_env of [storage.influx]."
	case f.status == 404:
		return "Check org and bucket of [storage.influx], and that the bucket exists on the server."
	case f.verdict == unclear:
		return "Check url, org and bucket of [storage.influx]: the server refuses everything."
	}
	return "Check the server and the network when there is time; the board does not need them."
}

// worked notes that the server took data and clears the alarm.
func (w *Writer) worked(ctx context.Context) {
	now := w.opt.Now().UTC()
	w.mu.Lock()
	was := w.state.Trouble
	w.state.Trouble, w.state.Since, w.state.LastOK = "", time.Time{}, now
	cleared := w.away
	if cleared != nil {
		cleared.Change++
		cleared.Active, cleared.ChangedAt = false, now
		if w.away = nil; !cleared.Acked {
			w.cleared = cleared
		}
	}
	w.mu.Unlock()
	if was != "" {
		w.opt.Log.Info().Str("url", w.opt.URL).Msg("the time-series server takes data again")
	}
	if cleared != nil {
		w.publish(ctx, cleared)
	}
}

// tellAside raises the alarm about lines set aside, once. Its condition is over
// as soon as it arises, so it stays until it is acknowledged and no longer.
func (w *Writer) tellAside(ctx context.Context) {
	n := w.sender.counts().Aside
	w.mu.Lock()
	if n == 0 || w.aside != nil {
		w.mu.Unlock()
		return
	}
	now := w.opt.Now().UTC()
	w.aside = w.newAlarm(KindAside, now, "The time-series server refused some data",
		fmt.Sprintf("%s refused %d points for good; they are in %s with the reason above each. The archive has them all.", w.opt.URL, n, w.sender.aside.path()))
	w.mu.Unlock()
	w.opt.Log.Warn().Uint64("lines", n).Str("file", w.sender.aside.path()).Msg("the time-series server refused points for good; they are set aside with the reason")
	w.publish(ctx, w.aside)
	w.mu.Lock()
	w.aside.Change++
	w.aside.Active = false
	w.mu.Unlock()
	w.publish(ctx, w.aside)
}

// newAlarm makes an alarm of the station. Its ID has the time in it: the station
// may start again within the session.
func (w *Writer) newAlarm(kind string, now time.Time, say, reason string) *flight.Alarm {
	return &flight.Alarm{
		Session: w.current, ID: kind + "/" + strconv.FormatInt(now.UnixMilli(), 10), Change: 1,
		Kind: kind, Priority: flight.Know, Active: true, RaisedAt: now, ChangedAt: now, Say: say, Reason: reason,
	}
}

// publish sends an alarm's state.
func (w *Writer) publish(ctx context.Context, a *flight.Alarm) {
	w.mu.Lock()
	copied := *a
	w.mu.Unlock()
	if err := w.run.Alarms.PublishAlarm(ctx, copied); err != nil && ctx.Err() == nil {
		w.opt.Log.Error().Err(err).Msg("the alarm about the time-series server cannot be published")
	}
}

// Ack acknowledges one of the writer's alarms at a time of the session; false if
// it has none of that ID that is open and not acknowledged.
func (w *Writer) Ack(ctx context.Context, id string, at time.Time) bool {
	w.mu.Lock()
	var found *flight.Alarm
	for _, a := range []*flight.Alarm{w.away, w.cleared, w.aside} {
		if a != nil && a.ID == id && !a.Acked {
			a.Acked, a.ChangedAt = true, at
			a.Change++
			found = a
		}
	}
	w.mu.Unlock()
	if found != nil {
		w.publish(ctx, found)
	}
	return found != nil
}
