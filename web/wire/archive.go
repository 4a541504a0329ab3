package wire

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"padlark/decode"
	"padlark/flight"
	"padlark/ingest"
	"padlark/storage/sqlite"
	"padlark/web"
)

// Archive fits the SQLite archive to web.Archive and web.Notes. All its times
// carry the session's shift. It is safe for concurrent use.
type Archive struct {
	archive *sqlite.Archive
	// running names the session that this station records now; "" for none.
	running func() string

	mu     sync.Mutex
	counts map[string]count
}

// NewArchive makes the adapter. running may be nil.
func NewArchive(a *sqlite.Archive, running func() string) *Archive {
	if running == nil {
		running = func() string { return "" }
	}
	return &Archive{archive: a, running: running, counts: map[string]count{}}
}

// count is what one pass over a session's frames and samples finds.
type count struct {
	frames, bytes, lost uint64
	gaps                [][2]int64
	final               bool // the session has ended: nothing more will come
}

// Times of the counting.
const (
	silence  = 5 * time.Second  // a gap worth telling
	recount  = 20 * time.Second // shortest time between two counts of a running session
	settling = time.Minute      // what is on its way when a session ends arrives within
)

// Run counts what the sessions hold, newest first, and the running one again
// and again, until ctx ends. It returns nil then. Without it the sessions are
// listed uncounted. Counting takes at most a fiftieth of the time.
func (a *Archive) Run(ctx context.Context) error {
	for {
		begin := time.Now()
		if err := a.Count(ctx); err != nil && ctx.Err() == nil {
			return fmt.Errorf("count the archive's sessions: %w", err)
		}
		pause := time.NewTimer(max(recount, 50*time.Since(begin)))
		select {
		case <-pause.C:
		case <-ctx.Done():
			pause.Stop()
			return nil
		}
	}
}

// Count counts every session that is not counted for good, newest first. It
// reads those sessions whole.
func (a *Archive) Count(ctx context.Context) error {
	list, err := a.archive.Sessions(ctx)
	if err != nil {
		return err
	}
	for _, s := range slices.Backward(list) {
		a.mu.Lock()
		known := a.counts[s.ID]
		a.mu.Unlock()
		if known.final {
			continue
		}
		c, err := a.count(ctx, s)
		if err != nil {
			return err
		}
		a.mu.Lock()
		a.counts[s.ID] = c
		a.mu.Unlock()
	}
	return nil
}

// Sessions lists the sessions with what is known to have been heard in them.
func (a *Archive) Sessions(ctx context.Context) ([]web.Session, error) {
	list, err := a.archive.Sessions(ctx)
	if err != nil {
		return nil, err
	}
	out := make([]web.Session, 0, len(list))
	for _, s := range list {
		last, heard, err := a.archive.LastPassed(ctx, s.ID)
		if err != nil {
			return nil, err
		}
		w := a.session(s)
		if heard {
			at := s.Corrected(s.Epoch).Add(time.Duration(last))
			w.Last = &at
		}
		out = append(out, w)
	}
	return out, nil
}

func (a *Archive) session(s sqlite.Session) web.Session {
	a.mu.Lock()
	c, counted := a.counts[s.ID]
	a.mu.Unlock()
	at := func(ns int64) time.Time { return s.Corrected(s.Epoch).Add(time.Duration(ns)) }
	w := web.Session{
		ID: s.ID, Station: s.Station, Epoch: at(0), Live: s.ID == a.running(),
		Counted: counted, Frames: c.frames, Lost: c.lost, Bytes: c.bytes, Links: s.Links,
		ShiftNs: s.Shift.Nanoseconds(), FixedBy: s.ShiftSource, Version: s.Version,
	}
	if !s.Ended.IsZero() {
		ended := s.Corrected(s.Ended)
		w.Ended = &ended
	}
	for _, r := range s.Rockets {
		w.Rockets = append(w.Rockets, r.Name)
	}
	for _, g := range c.gaps {
		w.Gaps = append(w.Gaps, web.Gap{From: at(g[0]), To: at(g[1])})
	}
	return w
}

func (a *Archive) count(ctx context.Context, s sqlite.Session) (count, error) {
	c, last := count{}, int64(0)
	err := a.archive.Frames(ctx, s.ID, sqlite.FrameFilter{}, func(f ingest.Frame) error {
		if f.Passed-last > silence.Nanoseconds() {
			c.gaps = append(c.gaps, [2]int64{last, f.Passed})
		}
		c.frames++
		c.bytes += uint64(len(f.Bytes))
		last = f.Passed
		return nil
	})
	if err != nil {
		return c, err
	}
	c.lost, err = a.lost(ctx, s.ID)
	c.final = !s.Ended.IsZero() && s.ID != a.running() && time.Since(s.Ended) > settling
	return c, err
}

// lost counts the holes in the rockets' own numbering, each number counted once
// however many links heard it.
func (a *Archive) lost(ctx context.Context, session string) (uint64, error) {
	type life struct {
		rocket string
		boot   uint32
	}
	type span struct {
		low, high int64
		heard     uint64
	}
	spans := map[life]*span{}
	merger := decode.NewMerger()
	err := a.archive.Samples(ctx, sqlite.Query{Session: session, Recorded: true}, func(s *decode.Sample) error {
		if _, first := merger.Add(*s); s.Seq < 0 || !first {
			return nil
		}
		k := life{s.Rocket, s.Boot}
		sp := spans[k]
		if sp == nil {
			sp = &span{low: s.Seq, high: s.Seq}
			spans[k] = sp
		}
		sp.low, sp.high = min(sp.low, s.Seq), max(sp.high, s.Seq)
		sp.heard++
		return nil
	})
	var n uint64
	for _, sp := range spans {
		if all := uint64(sp.high-sp.low) + 1; all > sp.heard {
			n += all - sp.heard
		}
	}
	return n, err
}

// lateness bounds how long after its measuring time a sample passes: what was
// measured in a stretch is looked for in the passed times up to this later.
const lateness = 10 * time.Second

// Samples reads samples in the order in which they passed, all rockets together.
func (a *Archive) Samples(ctx context.Context, q web.Query, each func(*decode.Sample) error) error {
	s, err := a.archive.Session(ctx, q.Session)
	if err != nil {
		return missing(err)
	}
	sq := sqlite.Query{Session: q.Session, Rocket: q.Rocket, From: q.From, To: q.To}
	byPassed := q.FromPassed > 0 || q.ToPassed > 0
	if byPassed {
		epoch := s.Corrected(s.Epoch)
		sq.From = epoch.Add(time.Duration(q.FromPassed) - lateness)
		if q.ToPassed > 0 {
			sq.To = epoch.Add(time.Duration(q.ToPassed))
		}
	}
	fits := func(m *decode.Sample) bool {
		return (q.Link == "" || m.Link == q.Link) && (q.To.IsZero() || m.At.Before(q.To)) &&
			m.Passed >= q.FromPassed && (q.ToPassed == 0 || m.Passed < q.ToPassed)
	}
	if q.Rocket != "" {
		return missing(a.archive.Samples(ctx, sq, func(m *decode.Sample) error {
			if !fits(m) {
				return nil
			}
			return each(m)
		}))
	}
	// The archive gives rocket after rocket: put them into one order.
	var all []*decode.Sample
	err = a.archive.Samples(ctx, sq, func(m *decode.Sample) error {
		if fits(m) {
			c := *m
			all = append(all, &c)
		}
		return nil
	})
	if err != nil {
		return missing(err)
	}
	slices.SortStableFunc(all, func(x, y *decode.Sample) int { return cmp.Compare(x.Passed, y.Passed) })
	for _, m := range all {
		if err := each(m); err != nil {
			return err
		}
	}
	return nil
}

// Columns reads channels of one rocket.
func (a *Archive) Columns(ctx context.Context, q web.Query, names []string, each func(*web.Columns) error) error {
	sq := sqlite.Query{Session: q.Session, Rocket: q.Rocket, From: q.From, To: q.To, PassedFrom: q.FromPassed}
	if !q.To.IsZero() {
		sq.To = q.To.Add(-1) // the archive's bounds both count
	}
	var out web.Columns
	return missing(a.archive.Columns(ctx, sq, names, func(c *sqlite.Columns) error {
		if q.Link != "" && c.Link != q.Link {
			return nil
		}
		out = web.Columns{Channels: c.Channels, At: c.At, Passed: c.Passed, Ahead: c.Ahead, Values: c.Values}
		return each(&out)
	}))
}

// Frames reads frames in the order in which they passed.
func (a *Archive) Frames(ctx context.Context, q web.Query, each func(*ingest.Frame) error) error {
	s, err := a.archive.Session(ctx, q.Session)
	if err != nil {
		return missing(err)
	}
	filter := sqlite.FrameFilter{Rocket: q.Rocket, From: q.FromPassed, To: q.ToPassed}
	if q.Link != "" {
		filter.Links = []string{q.Link}
	}
	epoch := s.Corrected(s.Epoch)
	if !q.From.IsZero() {
		filter.From = max(filter.From, q.From.Sub(epoch).Nanoseconds())
	}
	if !q.To.IsZero() {
		// A frame passes the sequencer a little after it was heard.
		to := q.To.Sub(epoch) + lateness
		if filter.To == 0 || to.Nanoseconds() < filter.To {
			filter.To = to.Nanoseconds()
		}
	}
	return missing(a.archive.Frames(ctx, q.Session, filter, func(f ingest.Frame) error {
		f.Heard = s.Corrected(f.Heard)
		if !q.From.IsZero() && f.Heard.Before(q.From) || !q.To.IsZero() && !f.Heard.Before(q.To) {
			return nil
		}
		return each(&f)
	}))
}

// Events lists events.
func (a *Archive) Events(ctx context.Context, q web.Query) ([]flight.Event, error) {
	out, err := a.archive.Events(ctx, sqlite.Query{Session: q.Session, Rocket: q.Rocket, From: q.From, To: q.To})
	return out, missing(err)
}

// Alarms lists every change of alarms.
func (a *Archive) Alarms(ctx context.Context, q web.Query) ([]flight.Alarm, error) {
	out, err := a.archive.Alarms(ctx, sqlite.Query{Session: q.Session, Rocket: q.Rocket, From: q.From, To: q.To})
	return out, missing(err)
}

// Notes lists what people noted about a flight.
func (a *Archive) Notes(ctx context.Context, id web.FlightID) ([]web.Note, error) {
	s, err := a.archive.Session(ctx, id.Session)
	if err != nil {
		return nil, missing(err)
	}
	notes, err := a.archive.Notes(ctx, id.Session)
	if err != nil {
		return nil, err
	}
	var out []web.Note
	for _, n := range notes {
		if n.Rocket == id.Rocket && n.Flight == id.Flight {
			out = append(out, web.Note{ID: n.ID, Session: n.Session, Rocket: n.Rocket, Flight: n.Flight, At: s.Corrected(n.At), Text: n.Text})
		}
	}
	return out, nil
}

// AddNote keeps a note and gives it back as kept.
func (a *Archive) AddNote(ctx context.Context, n web.Note) (web.Note, error) {
	s, err := a.archive.Session(ctx, n.Session)
	if err != nil {
		return n, missing(err)
	}
	recorded := sqlite.Note{Session: n.Session, Rocket: n.Rocket, Flight: n.Flight, At: n.At.Add(-s.Shift), Text: n.Text}
	if err := a.archive.AddNote(ctx, recorded); err != nil {
		return n, err
	}
	kept, err := a.Notes(ctx, web.FlightID{Session: n.Session, Rocket: n.Rocket, Flight: n.Flight})
	if err != nil {
		return n, err
	}
	// The archive numbers notes as they come: the newest number is ours, or
	// that of one who wrote at the same moment.
	for _, k := range kept {
		if k.Text == n.Text && k.ID > n.ID {
			n = k
		}
	}
	return n, nil
}

// missing says in the pages' own terms that something is not there.
func missing(err error) error {
	if errors.Is(err, sqlite.ErrNoSession) {
		return errors.Join(web.ErrNotFound, err)
	}
	return err
}
