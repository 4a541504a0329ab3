package influx

import (
	"errors"
	"time"

	"padlark/flight"
	"padlark/flight/alarm"
	"padlark/flight/phrase"
)

// failed notes trouble with the server and raises the one alarm about it: at
// once if a person must act, otherwise when it has lasted.
func (w *Writer) failed(err error) {
	now := w.opt.Now().UTC()
	var f *failure
	act := errors.As(err, &f) && f.verdict != tryAgain
	w.mu.Lock()
	first := w.state.Trouble == ""
	if first {
		w.state.Since = now
	}
	w.state.Trouble = err.Error()
	raise := act || now.Sub(w.state.Since) >= w.opt.AlarmAfter
	w.mu.Unlock()
	if first {
		w.opt.Log.Warn().Err(err).Str("url", w.opt.URL).Msg("the time-series server takes no data; it is tried again with growing pauses")
	}
	if raise {
		w.run.Alarms.Raise(alarm.ServerAway, flight.Know, phrase.Of("server-away.say"), phrase.Of("server-away",
			phrase.Word("url", w.opt.URL), phrase.Word("error", err.Error()), phrase.In("mend", phrase.Of(mend(f)))))
	}
}

// mend is the text of what a person can do.
func mend(f *failure) string {
	switch {
	case f == nil:
		return "server-away.folder"
	case f.status == 401 || f.status == 403:
		return "server-away.token"
	case f.status == 404:
		return "server-away.bucket"
	case f.verdict == unclear:
		return "server-away.refused"
	}
	return "server-away.network"
}

// worked notes that the server took data and clears the alarm.
func (w *Writer) worked() {
	now := w.opt.Now().UTC()
	w.mu.Lock()
	was := w.state.Trouble
	w.state.Trouble, w.state.Since, w.state.LastOK = "", time.Time{}, now
	w.mu.Unlock()
	if was != "" {
		w.opt.Log.Info().Str("url", w.opt.URL).Msg("the time-series server takes data again")
	}
	w.run.Alarms.Clear(alarm.ServerAway, phrase.Phrase{}) // an earlier run of the session may have raised it
}

// tellRejected raises the alarm about lines set aside, once. Its condition is over
// as soon as it arises, so it stays until it is acknowledged and no longer.
func (w *Writer) tellRejected() {
	n := w.sender.counts().Rejected
	if n == 0 || w.rejectedTold {
		return
	}
	w.rejectedTold = true
	w.opt.Log.Warn().Uint64("lines", n).Str("file", w.sender.rejected.path()).Msg("the time-series server refused points for good; they are set aside with the reason")
	w.run.Alarms.Raise(alarm.ServerAside, flight.Know, phrase.Of("server-aside.say"), phrase.Of("server-aside",
		phrase.Word("url", w.opt.URL), phrase.Qty("count", float64(n), 0, ""), phrase.Word("file", w.sender.rejected.path())))
	w.run.Alarms.Clear(alarm.ServerAside, phrase.Phrase{})
}
