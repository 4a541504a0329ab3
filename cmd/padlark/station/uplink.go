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

	"padlark/bus"
	"padlark/storage"
	"padlark/storage/journal"
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

// uplink sends the running session and what earlier ones have left.
type uplink struct {
	up      *bus.Uplink
	log     zerolog.Logger
	dir     string // of the journals
	session *bus.UplinkSession
	follow  *journal.Follower
	done    chan struct{} // closed when the journal has been read to its end

	mu     sync.Mutex
	failed bool // the last attempt, which has been told
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
	up, err := bus.NewUplink(o)
	if err != nil {
		return err
	}
	path := s.journal.Path()
	from, err := journal.LoadPlace(path, uplinkName)
	if err != nil {
		return err
	}
	u := &uplink{
		up: up, log: s.log, dir: s.journals(), session: up.Session(s.journal.Info(), from), done: make(chan struct{}),
		follow: &journal.Follower{
			Name: uplinkName, Journal: s.journal, From: from, Urgent: true, RetryMax: uplinkRest,
			Wait: func() time.Duration { return uplinkEvery },
		},
	}
	s.uplink = u
	running := sync.WaitGroup{}
	running.Go(func() { u.live(ctx) })
	running.Go(func() { u.earlier(ctx, s.session.ID) })
	g.Go(func() error {
		running.Wait()
		up.Close()
		return nil
	})
	return nil
}

// live sends the running session until ctx ends, or the journal is closed and has
// been sent.
func (u *uplink) live(ctx context.Context) {
	path := u.follow.Journal.Path()
	u.keep(path, u.follow.From)
	kept := time.Now()
	err := u.follow.Run(ctx, func(ctx context.Context, batch []storage.Entry, place int64) error {
		err := u.session.Send(ctx, batch, place)
		u.tell(ctx, err)
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

// finish waits a little for what is left of a session that has been closed, and
// says at the server that it is over if ended is over 0. What cannot be done is
// left to the next start.
func (u *uplink) finish(ctx context.Context, ended time.Duration) {
	if u == nil || u.up.State().Trouble != nil {
		return
	}
	ctx, cancel := context.WithTimeout(ctx, uplinkEnding)
	defer cancel()
	select {
	case <-u.done:
	case <-ctx.Done():
		return
	}
	if ended > 0 && u.session.End(ctx, u.follow.Place(), ended) == nil {
		u.complete(u.follow.Journal.Path())
	}
}

// earlier sends what earlier sessions have left, until ctx ends.
func (u *uplink) earlier(ctx context.Context, running string) {
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
func (u *uplink) sendEarlier(ctx context.Context, session string) (path string, err error) {
	path = filepath.Join(u.dir, session+journal.Suffix)
	from, err := journal.LoadPlace(path, uplinkName)
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
		if serr := u.persist(ctx, func() error { return to.Send(ctx, batch, r.Pos()) }); serr != nil {
			return path, serr
		}
		if batch = batch[:0]; err == nil {
			u.keep(path, r.Pos())
			continue
		}
		if errors.Is(err, io.EOF) {
			err = nil
		}
		return path, errors.Join(err, u.persist(ctx, func() error { return to.End(ctx, r.Pos(), r.Ended()) }))
	}
}

// persist tries until it succeeds or ctx ends.
func (u *uplink) persist(ctx context.Context, try func() error) error {
	for {
		err := try()
		u.tell(ctx, err)
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

// tell says once that sending fails, and once that it goes again.
func (u *uplink) tell(ctx context.Context, err error) {
	u.mu.Lock()
	defer u.mu.Unlock()
	switch {
	case ctx.Err() != nil || (err != nil) == u.failed:
		return
	case err != nil:
		u.log.Warn().Err(err).Msg("nothing can be sent to the outside server; the journal keeps it, and it is tried again and again")
	default:
		u.log.Info().Msg("the outside server takes what is sent again")
	}
	u.failed = err != nil
}

// keep notes the place of a session; complete that nothing is left to send.
func (u *uplink) keep(path string, place int64) {
	if err := journal.SavePlace(path, uplinkName, place); err != nil {
		u.log.Debug().Err(err).Msg("the uplink's place is not kept; the server knows it too")
	}
}

func (u *uplink) complete(path string) {
	err := os.Remove(filepath.Join(u.dir, journal.SessionOf(path)+"."+uplinkName))
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		u.log.Warn().Err(fmt.Errorf("note that a session is sent: %w", err)).Msg("the next start looks again")
	}
}
