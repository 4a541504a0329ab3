package influx

import (
	"context"
	"errors"
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
	last   map[string]uint64 // newest frame number by link
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
		s = &liveSession{mark: k, stored: k, noted: noted, last: map[string]uint64{}}
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
// reject, so each link's numbers follow each other. A gap means that the stream
// dropped its oldest messages before they were read; after a restart it may only
// mean that the first part was read before, and sending again does no harm.
func (s *liveSession) follow(c content) {
	if c.link == "" {
		return
	}
	if last := s.last[c.link]; c.n > last {
		if c.n > last+1 {
			s.mark.Again = true
		}
		s.last[c.link] = c.n
	}
}

// note saves a session's mark if it is new or has changed.
func (w *Writer) note(s *liveSession) error {
	if s.noted && s.mark == s.stored {
		return nil
	}
	if err := w.marks.save(s.mark); err != nil {
		return err
	}
	s.stored, s.noted = s.mark, true
	return nil
}
