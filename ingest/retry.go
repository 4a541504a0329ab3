package ingest

import (
	"context"
	"errors"
	"sync"
	"time"
)

const (
	firstPause = 200 * time.Millisecond
	lastPause  = 5 * time.Second
	// watchEvery is how often a link that waits for a device looks whether it
	// is there. Looking costs a few file status calls.
	watchEvery = 200 * time.Millisecond
	// steadyAfter is how long a link must have been open, or have heard a
	// byte, for its next pause to be the first again.
	steadyAfter = 5 * time.Second
)

// pause is the growing wait between tries.
type pause struct{ last time.Duration }

func (p *pause) next() time.Duration {
	p.last = min(max(2*p.last, firstPause), lastPause)
	return p.last
}

func (p *pause) reset() { p.last = 0 }

// reporter passes a link's state on: each change to Stats, and each change
// worth a line to the log.
type reporter struct {
	name  string
	env   Env
	stats *Stats

	mu    sync.Mutex
	said  LinkState // last one logged
	again string    // words seen once since, while the state stayed
}

// set notes a state. It is told to people if the word changed; or if only the
// reason did and has come twice running, so that two reasons that take turns
// do not fill the log.
func (r *reporter) set(state, words string) {
	st := LinkState{State: state, Words: words}
	r.stats.setState(st)
	r.mu.Lock()
	tell := st.State != r.said.State || st.Words != r.said.Words && st.Words == r.again
	r.again = words
	if tell {
		r.said = st
	}
	r.mu.Unlock()
	if !tell {
		return
	}
	ev := r.env.Log.Info()
	if state == StateWaiting {
		ev = r.env.Log.Warn()
	}
	ev.Str("link", r.name).Str("state", state).Msg(words)
	if r.env.OnState != nil {
		r.env.OnState(r.name, st)
	}
}

// waiting says whether people know that the link waits.
func (r *reporter) waiting() bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.said.State == StateWaiting
}

// words changes the words of a state without telling it.
func (r *reporter) words(state, words string) {
	r.stats.setState(LinkState{State: state, Words: words})
}

// stopError ends a link for good with an error: the receiver of its chunks
// refused one, or its input is beyond use.
type stopError struct{ err error }

func (e *stopError) Error() string { return e.err.Error() }
func (e *stopError) Unwrap() error { return e.err }

// endedError says that an input ended as it should and will not come back.
type endedError struct{ words string }

func (e *endedError) Error() string { return e.words }

// missingError says that a device or file is not there. To people who were
// told that the link was lost, that is no news.
type missingError struct{ words string }

func (e *missingError) Error() string { return e.words }

// runner keeps one link going.
type runner struct {
	name string
	env  Env
	rep  *reporter
	baud int

	// patient says that bytes alone do not make the next pause the first again.
	patient bool

	out    func(Chunk) error
	pause  pause
	opened time.Time // when the present try succeeded, zero before
	heard  bool      // the present try has given bytes
}

// Name is the configured name.
func (r *runner) Name() string { return r.name }

// up tells that the present try has opened the port.
func (r *runner) up(words string) {
	r.opened = time.Now()
	r.rep.set(StateUp, words)
}

// send passes a chunk on under the link's name.
func (r *runner) send(c Chunk) error {
	c.Link = r.name
	if len(c.Bytes) > 0 {
		r.heard = true
	}
	if err := r.out(c); err != nil {
		return &stopError{err}
	}
	return nil
}

// keep tries again and again until the context is cancelled, the input has
// ended, or the chunks are refused. try opens the port, calls up, and returns
// when it is lost. watch, if not nil, is called after a failure; the function
// it returns says that something has changed, and cuts the pause short.
func (r *runner) keep(ctx context.Context, out func(Chunk) error, try func(context.Context) error, watch func() func() bool) error {
	r.out = out
	for {
		r.opened, r.heard = time.Time{}, false
		err := try(ctx)
		wasUp := !r.opened.IsZero()
		if wasUp && (r.heard && !r.patient || time.Since(r.opened) >= steadyAfter) {
			r.pause.reset()
		}
		if err == nil && ctx.Err() == nil {
			err = errors.New("the link closed")
		}
		var stop *stopError
		var ended *endedError
		var missing *missingError
		switch {
		case ctx.Err() != nil:
			r.rep.set(StateDown, "stopped")
			return nil
		case errors.As(err, &stop):
			r.rep.set(StateDown, "stopped: "+stop.Error())
			return stop.err
		case errors.As(err, &ended):
			r.rep.set(StateDown, ended.words)
			return nil
		case errors.As(err, &missing) && r.rep.waiting():
			r.rep.words(StateWaiting, missing.words)
		default:
			r.rep.set(StateWaiting, err.Error())
		}
		if r.heard {
			if err := r.send(Chunk{Heard: r.env.Clock.Now(), End: EndCut}); err != nil {
				return errors.Unwrap(err)
			}
		}
		var changed func() bool
		if watch != nil {
			changed = watch()
		}
		waitFor(ctx, r.pause.next(), changed)
	}
}

// waitFor waits for d, for the context, or for changed to be true.
func waitFor(ctx context.Context, d time.Duration, changed func() bool) {
	timer := time.NewTimer(d)
	defer timer.Stop()
	var look <-chan time.Time
	if changed != nil {
		ticker := time.NewTicker(watchEvery)
		defer ticker.Stop()
		look = ticker.C
	}
	for {
		select {
		case <-ctx.Done():
			return
		case <-timer.C:
			return
		case <-look:
			if changed() {
				return
			}
		}
	}
}
