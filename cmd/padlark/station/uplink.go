package station

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/rs/zerolog"
	"golang.org/x/sync/errgroup"

	"padlark/storage"
	"padlark/storage/journal"
	"padlark/storage/uplink"
	"padlark/web"
)

// A station with [bus] url sends its journal to an outside server. What cannot be
// sent stays in the journal; nothing else of the station knows of it.
//
// The place up to which the server has a session is kept in a file beside its
// journal, which is there from the session's start until all has been sent. So
// the next start knows which sessions are not complete there, and where the
// server says that it has more, it is believed.
const (
	uplinkName   = "uplink"
	uplinkEvery  = 2 * time.Second  // how long entries are gathered, but an event or an alarm is sent at once
	uplinkKeep   = 30 * time.Second // how often the place is noted; it only saves asking for what is there
	uplinkEnding = 5 * time.Second  // how long the end of a station waits for the server
	uplinkRest   = 10 * time.Second // between two attempts, at most
)

// sender sends the running session and what earlier ones have left.
type sender struct {
	up      *uplink.Uplink
	url     string // as it may be shown
	log     zerolog.Logger
	dir     string // of the journals
	session *uplink.Session
	follow  *journal.Follower
	done    chan struct{} // closed when the journal has been read to its end
	look    time.Duration // how often it is looked what was said of flights

	mu    sync.Mutex
	state uplinkState
}

// uplinkState is how an uplink is.
type uplinkState struct {
	frames, failures uint64    // since the start
	lastOK           time.Time // when the server last took something
	trouble          error     // of the last attempt, nil if it succeeded
	since            time.Time // when the trouble began
}

// startUplink starts the uplink if one is configured. What cannot work as it is
// configured is an error, since a person asked for it; a server that is away is
// none.
func (s *station) startUplink(ctx context.Context, g *errgroup.Group) error {
	if s.cfg.Bus.URL == "" || s.recorded() {
		return nil // a recording can be read again there, and would be twice
	}
	o, err := uplinkOptions(s.cfg, s.log)
	if err != nil {
		return err
	}
	up, err := uplink.New(o)
	if err != nil {
		return err
	}
	path := s.journal.Path()
	from, err := loadPlace(path, uplinkName)
	if err != nil {
		return err
	}
	u := &sender{
		up: up, url: up.URL(), log: s.log, dir: s.journals(), session: up.Session(s.journal.Info(), from), done: make(chan struct{}), look: saidEvery,
		follow: uplinkFollower(s.journal, from),
	}
	s.uplink = u
	running := sync.WaitGroup{}
	running.Go(func() { u.live(ctx) })
	running.Go(func() { u.earlier(ctx, s.session.ID) })
	running.Go(func() { u.said(ctx, s.archive, s.session.Station) })
	g.Go(func() error {
		running.Wait()
		<-ctx.Done() // finish has something to say at the end
		up.Close()
		return nil
	})
	return nil
}

// uplinkFollower follows the running session for the uplink.
func uplinkFollower(j *journal.Journal, from int64) *journal.Follower {
	return &journal.Follower{
		Name: uplinkName, Journal: j, From: from, Noted: time.Millisecond, RetryMax: uplinkRest,
		Wait: func() time.Duration { return uplinkEvery },
	}
}

// live sends the running session until ctx ends, or the journal is closed and has
// been sent.
func (u *sender) live(ctx context.Context) {
	path := u.follow.Journal.Path()
	u.keep(path, u.follow.From)
	kept := time.Now()
	err := u.follow.Run(ctx, func(ctx context.Context, batch []storage.Entry, place int64) error {
		err := u.session.Send(ctx, batch, place)
		u.tell(ctx, err, batch)
		if err == nil && time.Since(kept) > uplinkKeep {
			u.keep(path, place)
			kept = time.Now()
		}
		return err
	})
	if err != nil {
		u.log.Error().Err(err).Msg("the uplink has stopped; the next start sends what is missing")
		return
	}
	u.keep(path, u.follow.Place())
	if ctx.Err() == nil {
		close(u.done)
	}
}

// finish waits a little for what is left of a session that has been closed. What
// cannot be done is left to the next start, and so is to say that the session is
// over, since it may go on with it.
func (u *sender) finish(ctx context.Context) {
	if u == nil || u.now().trouble != nil {
		return
	}
	ctx, cancel := context.WithTimeout(ctx, uplinkEnding)
	defer cancel()
	select {
	case <-u.done:
	case <-ctx.Done():
		u.log.Info().Msg("the end of the session is not at the outside server yet; the next start sends it")
	}
}

// earlier sends what earlier sessions have left, until ctx ends.
func (u *sender) earlier(ctx context.Context, running string) {
	places, err := filepath.Glob(filepath.Join(u.dir, "*."+uplinkName))
	if err != nil {
		return // the pattern is a good one
	}
	for _, p := range places {
		session := strings.TrimSuffix(filepath.Base(p), "."+uplinkName)
		if session == running {
			continue
		}
		path, err := u.sendEarlier(ctx, session)
		switch {
		case ctx.Err() != nil:
			return
		case errors.Is(err, os.ErrNotExist):
			u.log.Warn().Str("session", session).Msg("the journal of an earlier session is gone before all of it was sent")
		case err != nil:
			u.log.Error().Err(err).Msg("an earlier session cannot be sent to its end")
		default:
			u.log.Info().Str("session", session).Msg("an earlier session has been sent to its end")
		}
		u.complete(path)
	}
}

// sendEarlier sends the rest of one session that does not run any more. The error
// is that of its journal; a server that is away is waited for.
func (u *sender) sendEarlier(ctx context.Context, session string) (path string, err error) {
	path = filepath.Join(u.dir, session+journal.Suffix)
	from, err := loadPlace(path, uplinkName)
	if err != nil {
		return path, err
	}
	r, err := journal.Open(path, nil)
	if errors.Is(err, os.ErrNotExist) { // compressed already, or just now
		r, err = journal.Open(strings.TrimSuffix(path, journal.Suffix)+journal.Packed, nil)
	}
	if err != nil {
		return path, err
	}
	defer r.Close() //nolint:errcheck // it was only read from
	to := u.up.Session(r.Info(), from)
	var batch []storage.Entry
	for {
		e, err := r.Next()
		if err == nil && int64(e.Seq) > from {
			batch = append(batch, e)
		}
		if err == nil && len(batch) < 4096 {
			continue
		}
		if serr := u.persist(ctx, batch, func() error { return to.Send(ctx, batch, r.Pos()) }); serr != nil {
			return path, serr
		}
		if batch = batch[:0]; err == nil {
			u.keep(path, r.Pos())
			continue
		}
		if errors.Is(err, io.EOF) {
			err = nil
		}
		return path, errors.Join(err, u.persist(ctx, nil, func() error { return to.End(ctx, r.Pos(), r.Ended()) }))
	}
}

// persist tries until it succeeds or ctx ends.
func (u *sender) persist(ctx context.Context, batch []storage.Entry, try func() error) error {
	for {
		err := try()
		u.tell(ctx, err, batch)
		if err == nil {
			return nil
		}
		select {
		case <-time.After(uplinkRest):
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// tell notes how it went to send a batch; it says once that sending fails, and
// once that it goes again.
func (u *sender) tell(ctx context.Context, err error, batch []storage.Entry) {
	u.mu.Lock()
	defer u.mu.Unlock()
	s := &u.state
	if err == nil {
		if s.trouble != nil {
			u.log.Info().Msg("the outside server takes what is sent again")
		}
		for _, e := range batch {
			if e.Frame != nil {
				s.frames++
			}
		}
		s.lastOK, s.trouble, s.since = time.Now(), nil, time.Time{}
		return
	}
	if ctx.Err() != nil {
		return // interrupted, not in trouble
	}
	if s.failures++; s.trouble == nil {
		s.since = time.Now()
		u.log.Warn().Err(err).Msg("nothing can be sent to the outside server; the journal keeps it, and it is tried again and again")
	}
	s.trouble = err
}

// now is how the uplink is now.
func (u *sender) now() uplinkState {
	u.mu.Lock()
	defer u.mu.Unlock()
	return u.state
}

// uplinker is what the pages ask; nil if no uplink is configured.
func (s *station) uplinker() web.Uplinker {
	if s.uplink == nil {
		return nil
	}
	return s.uplink
}

// UplinkState is how the uplink is, for the pages.
func (u *sender) UplinkState() web.UplinkState {
	s := u.now()
	out := web.UplinkState{URL: u.url, State: "up to date", Since: given(s.since), LastAt: given(s.lastOK), Frames: s.frames, Failures: s.failures}
	out.Backlog = uint64(max(0, u.follow.Journal.State().End-u.follow.Place()))
	switch {
	case s.trouble != nil:
		out.State, out.Trouble = "waiting", s.trouble.Error()
	case out.Backlog > 0:
		out.State = "sending"
	}
	return out
}

// keep notes the place of a session; complete that nothing is left to send.
func (u *sender) keep(path string, place int64) {
	if err := savePlace(path, uplinkName, place); err != nil {
		u.log.Debug().Err(err).Msg("the uplink's place is not kept; the server knows it too")
	}
}

func (u *sender) complete(path string) {
	err := os.Remove(placePath(path, uplinkName))
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		u.log.Warn().Err(fmt.Errorf("note that a session is sent: %w", err)).Msg("the next start looks again")
	}
}
