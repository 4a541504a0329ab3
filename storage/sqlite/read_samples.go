package sqlite

import (
	"context"
	"errors"
	"slices"
	"strings"
	"time"

	"padlark/decode"
	"padlark/storage"
	"padlark/storage/sqlite/block"
)

// Samples calls fn for every sample that q chooses: session after session,
// rocket after rocket by name, each in the order in which they passed. The
// sample is fn's to keep. An error of fn ends it and is returned.
func (a *Archive) Samples(ctx context.Context, q storage.Query, fn func(*decode.Sample) error) error {
	return a.eachRocket(ctx, q, func(s storage.Session, links []storedLink, p part) error {
		return a.rocketSamples(ctx, s, links, p, q, fn)
	})
}

// chosen lists the sessions that q asks for.
func (a *Archive) chosen(ctx context.Context, q storage.Query) ([]storage.Session, error) {
	if q.Session == "" {
		return a.Sessions(ctx)
	}
	s, err := a.Session(ctx, q.Session)
	if err != nil {
		return nil, err
	}
	return []storage.Session{s}, nil
}

// eachRocket calls fn for each session and rocket that q chooses, with the
// session's links. An error is explained, unless it is a callerError.
func (a *Archive) eachRocket(ctx context.Context, q storage.Query, fn func(s storage.Session, links []storedLink, p part) error) error {
	sessions, err := a.chosen(ctx, q)
	if err != nil {
		return err
	}
	for _, s := range sessions {
		err := a.sessionRockets(ctx, s, q, fn)
		var stop *callerError
		if errors.As(err, &stop) {
			return stop.err
		}
		if err != nil {
			return explain(a.path, "read samples of session "+s.ID, err)
		}
	}
	return nil
}

func (a *Archive) sessionRockets(ctx context.Context, s storage.Session, q storage.Query, fn func(s storage.Session, links []storedLink, p part) error) error {
	links, err := a.linksOf(ctx, s.ID)
	if err != nil {
		return err
	}
	rockets, err := a.Rockets(ctx, s.ID)
	if err != nil {
		return err
	}
	names := make([]string, 0, len(rockets))
	for _, r := range rockets {
		if q.Rocket == "" || r.Name == q.Rocket {
			names = append(names, r.Name)
		}
	}
	slices.Sort(names)
	c, err := a.corrections(ctx, s.ID, q)
	if err != nil {
		return err
	}
	for _, name := range names {
		parts := c.parts(name, windowOf(q, s))
		if q.Flight != 0 {
			if parts, err = a.flightPart(ctx, s, name, q); err != nil {
				return err
			}
		}
		for _, p := range parts {
			if err := fn(s, links, p); err != nil {
				return err
			}
		}
	}
	return nil
}

// corrections are those of a session that a query wants to hear of.
func (a *Archive) corrections(ctx context.Context, session string, q storage.Query) (*corrected, error) {
	if q.AsHeard {
		return nil, nil
	}
	id, err := a.sessionRow(ctx, session)
	if err != nil {
		return nil, err
	}
	return a.correctedOf(ctx, id)
}

// callerError carries an error of the caller's function through our own.
type callerError struct{ err error }

func (c *callerError) Error() string { return c.err.Error() }

// window is a stretch of recorded time, in ns since the epoch, and of Passed, from
// passed to until; all ends count.
type window struct{ from, to, passed, until int64 }

const (
	always  = int64(-1) << 62
	forEver = int64(1) << 62
)

// whole is the stretch that leaves nothing out.
func whole() window { return window{always, forEver, always, forEver} }

// windowOf is the stretch that q asks for by time and place alone.
func windowOf(q storage.Query, s storage.Session) window {
	w := whole()
	if q.FromPassed > 0 {
		w.passed = q.FromPassed
	}
	if q.ToPassed > 0 {
		w.until = q.ToPassed - 1
	}
	if !q.From.IsZero() {
		w.from = bound(q, s, q.From)
	}
	if !q.To.IsZero() {
		w.to = bound(q, s, q.To) - 1
	}
	return w
}

// flightPart is what was heard of the flight that q asks for; none if the rocket
// has no such flight.
func (a *Archive) flightPart(ctx context.Context, s storage.Session, rocket string, q storage.Query) ([]part, error) {
	spans, err := a.EveryFlight(ctx, s.ID)
	if err != nil {
		return nil, err
	}
	margin := q.Margin
	if margin == 0 {
		margin = 10 * time.Second
	}
	w := windowOf(q, s)
	for _, f := range spans {
		if f.Rocket == rocket && f.Flight == q.Flight {
			from, to := f.bounds(s, spans, margin)
			return []part{{rocket, f.HeardAs, window{max(w.from, from), min(w.to, to), w.passed, w.until}}}, nil
		}
	}
	return nil, nil
}

// bound turns a time of the caller's into recorded ns since the epoch.
func bound(q storage.Query, s storage.Session, t time.Time) int64 {
	if !q.Recorded {
		t = t.Add(-s.Shift)
	}
	return t.Sub(s.Epoch).Nanoseconds()
}

func (a *Archive) rocketSamples(ctx context.Context, s storage.Session, links []storedLink, p part, q storage.Query, fn func(*decode.Sample) error) error {
	id, err := a.rocketRow(ctx, s.ID, p.heardAs)
	if err != nil {
		return err
	}
	shift := s.Shift
	if q.Recorded {
		shift = 0
	}
	names := nameSets{}
	var streams []*stream[decode.Sample]
	for _, l := range links {
		if q.Link != "" && q.Link != l.name {
			continue
		}
		streams = append(streams, a.sampleStream(s, l, id, p.name, p.window, shift, names))
	}
	before := func(x, y *decode.Sample) bool {
		return x.Passed < y.Passed || x.Passed == y.Passed && x.Link < y.Link
	}
	return merge(ctx, streams, before, func(m *decode.Sample) error {
		if err := fn(m); err != nil {
			return &callerError{err}
		}
		return nil
	})
}

// sampleBlocks gives the blocks of a rocket over a link that reach into a
// stretch of time.
func (a *Archive) sampleBlocks(s storage.Session, l storedLink, rocket int64, name string, w window) *blockReader {
	b := &blockReader{a: a, table: "sample_blocks", cond: sampleTrack, of: track{rocket, l.id}}
	if w != whole() {
		b.chosen = ` AND at_last_ns >= ?3 AND at_first_ns <= ?4 AND passed_last_ns >= ?5 AND passed_first_ns <= ?6`
		b.chosenArgs = []any{w.from, w.to, w.passed, w.until}
	}
	if a.readOnly {
		b.lose = func(from, to int64) {
			a.lost.add(Loss{Table: "samples", Session: s.ID, Link: l.name, Rocket: name, From: uint64(from), To: uint64(to)})
		}
	}
	return b
}

func (a *Archive) sampleStream(s storage.Session, l storedLink, rocket int64, name string, w window, shift time.Duration, names nameSets) *stream[decode.Sample] {
	b := a.sampleBlocks(s, l, rocket, name, w)
	epoch := s.Epoch.Add(shift)
	like := decode.Sample{Session: s.ID, Link: l.name, Rocket: name}
	var m block.Samples // used again for each block: rows copies what it gives out
	return &stream[decode.Sample]{load: func(ctx context.Context) ([]decode.Sample, error) {
		for {
			info, data, ok, err := b.next(ctx)
			if !ok || err != nil {
				return nil, err
			}
			from := 0
			if err = a.codec.DecodeSamples(data, &m); err == nil {
				from, err = b.given(info, m.N)
			}
			if err != nil {
				if err := b.bad(info, err); err != nil {
					return nil, err
				}
				continue
			}
			if out := sampleRows(&m, from, w, like, epoch, names); len(out) > 0 {
				return out, nil
			}
		}
	}}
}

// sampleRows makes samples of the rows of a block that are in a window.
func sampleRows(m *block.Samples, from int, w window, like decode.Sample, epoch time.Time, names nameSets) []decode.Sample {
	out := make([]decode.Sample, 0, m.Rows()-from)
	values := make([]float64, 0, (m.Rows()-from)*len(m.Channels))
	rssi := slices.Clone(m.RSSI.V) // the samples point into it
	set := names.of(m)
	for i := from; i < m.Rows(); i++ {
		if m.At[i] < w.from || m.At[i] > w.to || m.Passed[i] < w.passed || m.Passed[i] > w.until {
			continue
		}
		s := like
		s.N, s.Part = numberParts(m.N[i])
		s.Boot, s.Seq, s.Clock, s.Passed = uint32(m.Boot[i]), m.Seq[i], m.Clock[i], m.Passed[i]
		s.At, s.Heard = epoch.Add(time.Duration(m.At[i])), epoch.Add(time.Duration(m.Mono[i]))
		if _, ok := m.RSSI.At(i); ok {
			s.RSSI = &rssi[i]
		}
		start := len(values)
		for c := range m.Channels {
			if v, ok := m.Channels[c].At(i); ok {
				values = append(values, v)
			}
		}
		s.Values.Values = values[start:len(values):len(values)]
		if s.Values.Names = set; len(s.Values.Values) < len(set) {
			s.Values.Names = names.part(m, i)
		}
		out = append(out, s)
	}
	return out
}

// nameSets keeps one slice of names for each set of channels, which the samples
// share, as those of one layout do.
type nameSets map[string][]string

func (n nameSets) share(names []string) []string {
	key := strings.Join(names, "\x00")
	if old, ok := n[key]; ok {
		return old
	}
	names = append([]string{}, names...)
	n[key] = names
	return names
}

// of are the names of a block's channels, in order.
func (n nameSets) of(m *block.Samples) []string {
	names := make([]string, 0, len(m.Channels))
	for i := range m.Channels {
		names = append(names, m.Channels[i].Name)
	}
	return n.share(names)
}

// part are the names of the channels that one row has.
func (n nameSets) part(m *block.Samples, i int) []string {
	names := make([]string, 0, len(m.Channels))
	for c := range m.Channels {
		if _, ok := m.Channels[c].At(i); ok {
			names = append(names, m.Channels[c].Name)
		}
	}
	return n.share(names)
}
