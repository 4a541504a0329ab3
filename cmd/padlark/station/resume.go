package station

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"time"

	"golang.org/x/sync/errgroup"

	"padlark/decode"
	"padlark/flight"
	"padlark/ingest"
	"padlark/storage/sqlite"
	"padlark/watch"
)

// resumeWithin is how long after its last frame an interrupted session is gone
// on with; later a new one begins.
const resumeWithin = 10 * time.Minute

// startOrResume settles which session this run belongs to, and its clock.
func (s *station) startOrResume(ctx context.Context) error {
	if s.recorded() {
		// A recording has its own time and is a session of its own.
		s.clock = s.links.virtual.Clock()
		return s.startSession(ctx)
	}
	full := s.diskFull()
	if full {
		// The archive takes nothing, so it cannot say how far the last session
		// came. What is in the bus goes into it when there is room.
		s.log.Error().Msg("the disk is full: a new session begins, and nothing is recorded until there is room")
	} else if err := s.catchUp(ctx); err != nil {
		return err
	}
	old, since, ok, err := s.interrupted(ctx)
	if err != nil {
		return err
	}
	ok = ok && !full
	if !ok {
		s.clock = ingest.StartClock()
		return s.startSession(ctx)
	}
	s.session, s.resumed = old, true
	s.clock = ingest.ContinueClock(old.Epoch, since)
	s.log.Info().Str("session", old.ID).Msg("the session that was interrupted goes on")
	return nil
}

// catchUp moves what a crash left in the bus into the archive, so that the
// archive alone says how far the last session came.
func (s *station) catchUp(ctx context.Context) error {
	if err := s.bus.Rewind(ctx, sqlite.Durable); err != nil {
		return err
	}
	pending, err := s.bus.Pending(ctx, sqlite.Durable)
	if err != nil || pending == 0 {
		return err
	}
	wctx, stop := context.WithCancel(ctx)
	defer stop()
	g, gctx := errgroup.WithContext(wctx)
	w := sqlite.NewWriter(s.archive, s.bus)
	g.Go(func() error { return w.Run(gctx) })
	drained := w.Drain(gctx, s.bus.LastSeq())
	stop()
	return errors.Join(drained, g.Wait())
}

// interrupted finds the last session if it was cut off a moment ago under the
// same configuration, and how long ago it began.
func (s *station) interrupted(ctx context.Context) (old sqlite.Session, since time.Duration, ok bool, err error) {
	all, err := s.archive.Sessions(ctx)
	if err != nil || len(all) == 0 {
		return old, 0, false, err
	}
	old = all[len(all)-1]
	if !old.Ended.IsZero() || old.Config != s.cfg.Text || old.Station != s.cfg.Station.Name {
		return old, 0, false, nil
	}
	end, err := s.archive.Last(ctx, old.ID)
	if err != nil || end.Passed < 0 {
		return old, 0, false, err
	}
	since, ok = goneOn(old, time.Duration(end.Passed), time.Now())
	return old, since, ok, nil
}

// goneOn tells how far a session that was cut off after its last frame would be
// by now. The clock may still be the one that the session was begun by, or have
// been set right meanwhile: then it agrees with the time that the session is
// known to have begun at. One that reads earlier than the last frame by both, or
// much later, cannot say how long the break was.
func goneOn(old sqlite.Session, last time.Duration, now time.Time) (since time.Duration, ok bool) {
	for _, epoch := range []time.Time{old.Epoch, old.Corrected(old.Epoch)} {
		since = now.Sub(epoch)
		if gap := since - last; gap > 0 && gap < resumeWithin {
			return since, true
		}
	}
	return 0, false
}

func (s *station) startSession(ctx context.Context) error {
	s.session = sqlite.Session{
		ID: newSessionID(s.clock.Epoch), Station: s.cfg.Station.Name, Epoch: s.clock.Epoch,
		Version: s.opt.Version, Config: s.cfg.Text, Site: s.cfg.Site, Rockets: s.cfg.Rockets,
	}
	if s.recorded() {
		// The same recording gives the same session, so that two runs can be compared.
		s.session.ID = s.clock.Epoch.UTC().Format("20060102-150405") + "-rec"
	}
	for _, l := range s.cfg.Links {
		s.session.Links = append(s.session.Links, l.Name)
	}
	return s.archive.StartSession(ctx, s.session)
}

// newSessionID is unique even on a computer whose clock starts anew each time.
func newSessionID(epoch time.Time) string {
	return epoch.UTC().Format("20060102-150405") + "-" + rand.Text()[:4]
}

// rebuild brings decoder and watcher to where the interrupted session was, from
// its recorded frames, and publishes what the crash kept from being published.
func (s *station) rebuild(ctx context.Context) error {
	end, err := s.archive.Last(ctx, s.session.ID)
	if err != nil {
		return err
	}
	known, err := s.knownOutput(ctx)
	if err != nil {
		return err
	}
	s.seq.before = map[string]uint64{}
	engine := s.engine
	err = s.archive.Frames(ctx, s.session.ID, sqlite.FrameFilter{}, func(f ingest.Frame) error {
		s.seq.before[f.Link] = f.N
		s.seq.passed = f.Passed
		smp, err := s.seq.decoder.Decode(f)
		var rej *decode.Reject
		if errors.As(err, &rej) {
			return nil
		} else if err != nil {
			return err
		}
		s.seq.sampled = f.Passed
		if f.N > end.Sampled[f.Link] {
			if err := s.bus.PublishSample(ctx, smp); err != nil {
				return err
			}
		}
		return s.publishNew(ctx, engine.Sample(&smp), known)
	})
	if err != nil {
		return fmt.Errorf("go on with session %s: %w", s.session.ID, err)
	}
	engine.Restore(known.last())
	return s.bus.Flush(ctx)
}

// output is what the session published already.
type output struct {
	events map[string]bool
	alarms map[string]flight.Alarm // the newest change of each
}

func (o output) last() []flight.Alarm {
	out := make([]flight.Alarm, 0, len(o.alarms))
	for _, a := range o.alarms {
		out = append(out, a)
	}
	return out
}

func (s *station) knownOutput(ctx context.Context) (output, error) {
	o := output{events: map[string]bool{}, alarms: map[string]flight.Alarm{}}
	q := sqlite.Query{Session: s.session.ID, Recorded: true}
	events, err := s.archive.Events(ctx, q)
	if err != nil {
		return o, err
	}
	for _, e := range events {
		o.events[e.ID] = true
	}
	alarms, err := s.archive.Alarms(ctx, q)
	if err != nil {
		return o, err
	}
	for _, a := range alarms {
		if a.Change >= o.alarms[a.ID].Change {
			o.alarms[a.ID] = a
		}
	}
	return o, nil
}

// publishNew publishes what the session has not said yet.
func (s *station) publishNew(ctx context.Context, out watch.Output, known output) error {
	for _, e := range out.Events {
		if known.events[e.ID] {
			continue
		}
		if err := s.bus.PublishEvent(ctx, e); err != nil {
			return err
		}
	}
	for _, a := range out.Alarms {
		if a.Change <= known.alarms[a.ID].Change {
			continue
		}
		if err := s.bus.PublishAlarm(ctx, a); err != nil {
			return err
		}
	}
	return nil
}
