package main

import (
	"sync"
	"time"

	"github.com/rs/zerolog"

	"padlark/bus"
	"padlark/flight"
	"padlark/watch/callout"
)

// remoteWatch says aloud what a station elsewhere finds, and tells when it is not
// heard.
type remoteWatch struct {
	view    *view
	log     zerolog.Logger
	planner *callout.Planner // used by take only
	heard   map[string]bool  // alarms that came in, by id; used by take only
	speaker *callout.Speaker
	began   time.Time

	mu      sync.Mutex
	since   time.Time // of the present silence
	left    bool
	session string
	least   *time.Duration // by how much this computer's clock is ahead, and the quickest way here
}

func newRemoteWatch(cfg callout.Config, v *view, log zerolog.Logger) *remoteWatch {
	return &remoteWatch{
		view: v, log: log, planner: callout.NewPlanner(cfg), heard: map[string]bool{}, began: time.Now(),
		speaker: callout.NewSpeaker(cfg, func(err error) {
			if err != nil {
				log.Error().Err(err).Msg("the callout command does not work")
				return
			}
			log.Info().Msg("the callout command works again")
		}),
	}
}

// changed is told that the connection is lost, or back.
func (w *remoteWatch) changed(lost error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.left {
		return
	}
	w.least = nil
	if lost == nil {
		w.log.Info().Msgf("the connection is back after %v; what came meanwhile was missed; alarms that stand are shown and called", time.Since(w.since).Round(time.Second))
		return
	}
	w.since = time.Now()
	// What was known of the rockets is not true any more.
	w.view.forget()
	w.log.Warn().Err(lost).Msg("the connection to the station is lost: nothing is shown or called here until it is back")
	w.speaker.Offer(callout.Call{At: w.since, Rank: callout.Notice, Kind: "watch", Text: "the station is not heard here"}, 0)
}

// leaving says that the connection is given up.
func (w *remoteWatch) leaving() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.left = true
}

// take takes one message; it is called from one goroutine at a time.
func (w *remoteWatch) take(m bus.Msg) {
	var calls []callout.Call
	var age time.Duration
	switch m.Kind {
	case bus.State:
		if st, err := m.State(); err == nil {
			age = w.age(st.Session, st.Heard)
			calls = w.planner.Take(&st, nil, nil)
		}
	case bus.Event:
		if e, err := m.Event(); err == nil {
			age = w.age(e.Session, e.CalledAt)
			calls = w.planner.Take(nil, []flight.Event{e}, nil)
		}
	case bus.Alarm:
		if a, err := m.Alarm(); err == nil {
			age = w.age(a.Session, a.ChangedAt)
			calls = w.alarm(a)
		}
	case bus.Standing:
		// It was raised before this computer listened, or while it did not.
		if a, err := m.Standing(); err == nil && !w.heard[a.ID] {
			calls = w.planner.Again([]flight.Alarm{a})
			w.note(a)
		}
	}
	for _, c := range calls {
		w.speaker.Offer(c, age)
	}
}

// alarm takes a change of an alarm. The first that is heard of it may be the newest
// words of one that stood before this computer listened: that is called too.
func (w *remoteWatch) alarm(a flight.Alarm) []callout.Call {
	known := w.heard[a.ID]
	w.note(a)
	if a.Active && a.Change > 1 && !known {
		return w.planner.Again([]flight.Alarm{a})
	}
	return w.planner.Take(nil, nil, []flight.Alarm{a})
}

// note notes that an alarm is known here, until it is settled.
func (w *remoteWatch) note(a flight.Alarm) {
	if a.Settled() {
		delete(w.heard, a.ID)
	} else {
		w.heard[a.ID] = true
	}
}

// age is how old news of the station's time at is. The two clocks need not agree:
// the quickest message of the session so far is taken for one without delay, so
// what a bad link has held back for a while shows as old, and is not called.
func (w *remoteWatch) age(session string, at time.Time) time.Duration {
	w.mu.Lock()
	defer w.mu.Unlock()
	ahead := w.began.Add(time.Since(w.began)).Sub(at) // no step of the clock is in it
	if w.session != session || w.least == nil || ahead < *w.least {
		w.session, w.least = session, &ahead
	}
	return ahead - *w.least
}
