package station

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"time"

	"padlark/cmd/padlark/config"
	"padlark/decode"
	"padlark/flight"
	"padlark/flight/alarm"
	"padlark/ingest"
	"padlark/storage"
	"padlark/storage/journal"
	"padlark/watch"
)

// rebuilt is what the journal of a session that was interrupted makes of decoder
// and watcher.
type rebuilt struct {
	watch.Line
	info    ingest.CaptureInfo // as the journal begins
	now     ingest.CaptureInfo // and as it is described at the end
	end     int64              // of the last whole record
	from    int64              // where what was kept beside the journal ended, 0 if nothing was
	tail    uint32             // of the journal before the end, set when it is kept
	frames  map[string]uint64  // number of the last frame of each link
	last    int64              // Passed of the last frame, -1 if there is none
	sampled int64              // Passed of the last sample
	made    watch.Output       // what the frames bring about,
	events  map[string]flight.Event
	alarms  alarm.Newest // and what the journal has of it
}

// rebuild brings decoder and watcher to where an interrupted session was.
func (s *station) rebuild(ctx context.Context, path string) (*rebuilt, error) {
	if b := s.loadLearnt(path); b != nil {
		b.from = b.end
		return b, b.advance(ctx, path)
	}
	_, cfg, err := describeJournal(path)
	if err != nil {
		return nil, err
	}
	b := &rebuilt{frames: map[string]uint64{}, last: -1, events: map[string]flight.Event{}, alarms: alarm.Newest{}}
	r, err := journal.Open(path, nil)
	if err != nil {
		return nil, err
	}
	defer r.Close() //nolint:errcheck // it was only read from
	b.info, b.now = r.Info(), r.Info()
	if b.Line, err = cfg.Line(b.info.Session, b.info.Epoch); err != nil {
		return nil, err
	}
	return b, b.advance(ctx, path)
}

func (b *rebuilt) take(e *storage.Entry) {
	switch {
	case e.Event != nil:
		b.events[e.Event.ID] = *e.Event
	case e.Alarm != nil:
		b.alarms.Take(e.Alarm)
	case e.Frame != nil:
		b.frames[e.Frame.Link], b.last = e.Frame.N, e.Frame.Passed
		if e.Sample == nil {
			return
		}
		b.sampled = e.Frame.Passed
		b.watch(e.Sample)
		for i := range e.More {
			b.watch(&e.More[i])
		}
	}
}

func (b *rebuilt) watch(s *decode.Sample) { b.add(b.Engine.Sample(s)) }

// change goes on with another configuration.
func (b *rebuilt) change(c *storage.Change, cfg *config.Config) error {
	out, err := b.Engine.Reconfigure(c.At, cfg.Watch(b.info.Session, b.info.Epoch))
	b.add(out)
	b.now = c.Info
	return err
}

func (b *rebuilt) add(out watch.Output) {
	b.made.Events = append(b.made.Events, out.Events...)
	b.made.Alarms = append(b.made.Alarms, out.Alarms...)
}

// unsaid is what the frames have brought about and the crash has kept from being
// said.
func (b *rebuilt) unsaid() (events []flight.Event, alarms []flight.Alarm) {
	for _, e := range b.made.Events {
		if _, had := b.events[e.ID]; !had {
			events = append(events, e)
		}
	}
	for _, a := range b.made.Alarms {
		if a.Change > b.alarms[a.ID].Change {
			alarms = append(alarms, a)
		}
	}
	return events, alarms
}

// newest is the newest change of each alarm, whether it was said or not.
func (b *rebuilt) newest() []flight.Alarm {
	all := maps.Clone(b.alarms)
	for i := range b.made.Alarms {
		all.Take(&b.made.Alarms[i])
	}
	return all.List()
}

// startOrResume settles which session this run belongs to, its clock, decoder
// and engine, and opens its journal.
func (s *station) startOrResume(ctx context.Context) error {
	if s.recorded() {
		// A recording has its own time and is a session of its own.
		s.clock = s.links.virtual.Clock()
		return s.startSession(ctx)
	}
	resumed, err := s.resume(ctx)
	if err != nil || resumed {
		return err
	}
	s.clock = ingest.StartClock()
	return s.startSession(ctx)
}

// resume goes on with the last session if it was cut off a moment ago under the
// same configuration.
func (s *station) resume(ctx context.Context) (bool, error) {
	cur, ok := s.loadCurrent()
	if !ok {
		return false, nil
	}
	path := filepath.Join(s.journals(), cur.Session+journal.Suffix)
	if !s.isOurs(path, cur) {
		return false, nil
	}
	b, err := s.rebuild(ctx, path)
	if err != nil {
		s.log.Error().Err(err).Msg("the session that was interrupted cannot be gone on with; a new one begins")
		return false, nil
	}
	old, err := s.sessionOf(ctx, b.info)
	if err != nil {
		return false, err
	}
	since, ok := s.howLong(cur, old, b)
	if !ok || b.last < 0 {
		return false, nil
	}
	if _, s.began, err = describeJournal(path); err != nil {
		return false, err
	}
	if st, err := os.Stat(path); err == nil && st.Size() > b.end {
		s.log.Warn().Str("session", b.info.Session).Msg(TornWords(st.Size() - b.end))
	}
	if s.journal, err = journal.GoOn(path, b.now, b.end); err != nil {
		return false, err
	}
	for _, e := range b.events {
		s.journal.Had(&e)
	}
	s.session, s.resumed, s.rebuilt = old, true, b
	s.clock = ingest.ContinueClock(old.Epoch, since)
	s.log.Info().Str("session", old.ID).Msg("the session that was interrupted goes on")
	return true, s.begin(ctx)
}

// isOurs says whether a journal was written under this configuration, or has come to
// it.
func (s *station) isOurs(path string, cur current) bool {
	r, err := journal.Open(path, nil)
	if err != nil {
		return false // it is brought in, or told, with the others
	}
	defer r.Close() //nolint:errcheck // it was only read from
	info := r.Info()
	same := info.Config == s.cfg.Text
	if cur.Config != "" {
		same = cur.Config == digest(s.cfg.Text)
	}
	return same && info.Station == s.cfg.Station.Name && info.Session == journal.SessionOf(path)
}

// inAir says whether an event is the liftoff of a flight that goes on.
func (b *rebuilt) inAir(e *flight.Event) bool {
	down := b.events[fmt.Sprintf("%s/%d/%s", e.Rocket, e.Flight, flight.Touchdown)]
	return e.Kind == flight.Liftoff && down.ID == ""
}

// howLong asks the clocks how far the session is by now.
func (s *station) howLong(cur current, old storage.Session, b *rebuilt) (since time.Duration, ok bool) {
	gone := breakTime{old: old, last: time.Duration(b.last), now: time.Now()}
	gone.synced, _ = SystemClock()
	if boot, up, ok := bootClock(); ok {
		gone.up = up
		gone.same, gone.since = boot == cur.Boot, up-time.Duration(cur.Began)
	}
	for _, e := range b.events {
		gone.flying = gone.flying || b.inAir(&e)
	}
	return gone.goneOn()
}

// startSession begins a new session and its journal.
func (s *station) startSession(ctx context.Context) error {
	id := newSessionID(s.clock.Epoch)
	if s.recorded() {
		// The same recording gives the same session, so that two runs can be compared.
		id = s.clock.Epoch.UTC().Format("20060102-150405") + "-rec"
	}
	s.began = s.cfg
	info := ingest.CaptureInfo{
		Station: s.cfg.Station.Name, Epoch: s.clock.Epoch, Links: ingest.CaptureLinks(s.cfg.Links),
		Session: id, Config: s.cfg.Text, Version: s.opt.Version,
	}
	s.session = describe(info, s.cfg)
	if s.recorded() {
		// Its journal would be a second copy of the captures: a second run of them
		// writes it anew.
		for _, old := range []string{id + journal.Suffix, id + journal.Packed} {
			if err := os.Remove(filepath.Join(s.journals(), old)); err != nil && !errors.Is(err, os.ErrNotExist) {
				return fmt.Errorf("begin the recording's session: %w", err)
			}
		}
	}
	var err error
	if s.journal, err = journal.Create(s.journals(), info); err != nil {
		return err
	}
	if st := s.journal.State(); st.Trouble != nil {
		s.log.Error().Err(st.Trouble).Msg("the disk is full: rockets are watched, and nothing is recorded until there is room")
	}
	return s.begin(ctx)
}

// describe is the archive's row of a session of a configuration.
func describe(info ingest.CaptureInfo, cfg *config.Config) storage.Session {
	out := storage.Session{
		ID: info.Session, Station: info.Station, Epoch: info.Epoch.UTC().Round(0), Version: info.Version, Config: info.Config,
		Site: cfg.Site, Rockets: cfg.Rockets,
	}
	for _, l := range info.Links {
		out.Links = append(out.Links, l.Name)
	}
	return out
}

// sessionOf is a session as the archive knows it, or as its journal says.
func (s *station) sessionOf(ctx context.Context, info ingest.CaptureInfo) (storage.Session, error) {
	old, err := s.archive.Session(ctx, info.Session)
	if errors.Is(err, storage.ErrNoSession) {
		return describe(info, s.cfg), nil
	}
	return old, err
}

// newSessionID is unique even on a computer whose clock starts anew each time.
func newSessionID(epoch time.Time) string {
	return epoch.UTC().Format("20060102-150405") + "-" + rand.Text()[:4]
}
