package influx

import (
	"context"
	"errors"
	"slices"
	"time"

	"padlark/bus"
	"padlark/storage/sqlite"
)

// content is a message read: its session, its frame if it is about one, and the
// value to copy.
type content struct {
	session string
	link    string // empty if it is not about a frame
	n       uint64
	value   any // *decode.Sample, *flight.Event or *flight.Alarm; nil if nothing is to be copied
}

// sessionOf reads a message.
func sessionOf(m bus.Msg) (content, error) {
	switch m.Kind {
	case bus.Sample:
		v, err := m.Sample()
		return content{v.Session, v.Link, v.N, &v}, err
	case bus.Reject:
		v, err := m.Reject()
		return content{v.Session, v.Link, v.N, nil}, err
	case bus.Event:
		v, err := m.Event()
		return content{v.Session, "", 0, &v}, err
	case bus.Alarm:
		v, err := m.Alarm()
		return content{v.Session, "", 0, &v}, err
	}
	return content{}, errors.New("read message: a kind that was not asked for: " + string(m.Kind))
}

// liveSession is a session whose messages are being copied.
type liveSession struct {
	mark   mark
	stored mark // as it is on the disk
	noted  bool // whether there is one on the disk
	shift  time.Duration
	again  bool // known before to lack something
	frames map[string]*numbers
}

// sessionsMost bounds the sessions that are remembered from batch to batch; in a
// stream there are the one that runs and what is left of a few before.
const sessionsMost = 64

// live looks a session up: its mark, kept from batch to batch, and its time
// shift, which may become known while it runs.
func (w *Writer) live(ctx context.Context, id string) (*liveSession, error) {
	s := w.sessions[id]
	if s == nil {
		k, noted, err := w.marks.load(id)
		if err != nil {
			return nil, err
		}
		s = &liveSession{mark: k, stored: k, noted: noted, again: k.Again, frames: map[string]*numbers{}}
		if len(w.sessions) >= sessionsMost {
			clear(w.sessions)
		}
		w.sessions[id] = s
	}
	row, err := w.archive.Session(ctx, id)
	if err != nil && !errors.Is(err, sqlite.ErrNoSession) {
		return nil, err
	}
	s.shift = row.Shift
	if ns := row.Shift.Nanoseconds(); ns != s.mark.ShiftNs {
		// What has been sent so far has another time.
		s.mark.Replace = s.mark.Replace || s.noted
		s.mark.ShiftNs = ns
	}
	s.mark.Complete = false
	return s, nil
}

// follow checks that no frame is missing. Every frame gives a sample or a
// reject, so each link's numbers follow each other. A gap that is not filled
// means that the stream dropped its oldest messages before they were read; after
// a restart it may only mean that the first part was read before, and sending
// again does no harm.
func (s *liveSession) follow(c content) {
	if c.link == "" {
		return
	}
	f := s.frames[c.link]
	if f == nil {
		f = &numbers{}
		s.frames[c.link] = f
	}
	f.add(c.n)
}

// missing says whether frames are missing so far.
func (s *liveSession) missing() bool {
	for _, f := range s.frames {
		if f.many || len(f.gaps) > 0 {
			return true
		}
	}
	return false
}

// numbers are those of one link's frames: what has come, in any order, since the
// stream may deliver again and out of order after a trouble.
type numbers struct {
	last uint64
	gaps []gap
	many bool // more gaps than are remembered: it is not known when all are filled
}

// gap is a run of numbers that have not come; both ends are missing.
type gap struct{ from, to uint64 }

// gapsMost bounds the gaps that are remembered one by one.
const gapsMost = 1024

func (f *numbers) add(n uint64) {
	switch {
	case n == f.last+1:
		f.last = n
		return
	case n > f.last:
		if len(f.gaps) < gapsMost {
			f.gaps = append(f.gaps, gap{f.last + 1, n - 1})
		} else {
			f.many = true
		}
		f.last = n
		return
	}
	for i, g := range f.gaps {
		if n < g.from || n > g.to {
			continue
		}
		rest := make([]gap, 0, 2)
		if n > g.from {
			rest = append(rest, gap{g.from, n - 1})
		}
		if n < g.to {
			rest = append(rest, gap{n + 1, g.to})
		}
		f.gaps = slices.Replace(f.gaps, i, i+1, rest...)
		return
	}
}

// note saves a session's mark if it is new or has changed.
func (w *Writer) note(s *liveSession) error {
	s.mark.Again = s.again || s.missing()
	if s.noted && s.mark == s.stored {
		return nil
	}
	if err := w.marks.save(s.mark); err != nil {
		return err
	}
	s.stored, s.noted = s.mark, true
	return nil
}
