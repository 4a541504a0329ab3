package logimport

import (
	"context"
	"math"
	"slices"
	"time"

	"padlark/decode"
	"padlark/ingest"
)

// Overlay makes one series of a log and of what the radio heard, without
// duplicates: all of the denser and cleaner one, and of the other what lies in
// the first one's holes. Frames keep their Link, which says where each is from.
//
// Of the log it holds 8 bytes a frame while it is made, and then only the
// frames of the last second.
type Overlay struct {
	// LogWins says that the log is at least as dense and clean as the radio.
	LogWins bool

	log   *Log
	epoch time.Time
	radio []ingest.Frame
	gap   time.Duration // between frames of the winner that makes a hole
}

// Lay lays what the radio heard over the log, whose session begins at epoch. It
// puts radio in order.
func (l *Log) Lay(ctx context.Context, epoch time.Time, radio []ingest.Frame) (*Overlay, error) {
	byHeard := func(x, y ingest.Frame) int { return x.Heard.Compare(y.Heard) }
	slices.SortStableFunc(radio, byHeard)
	o := &Overlay{log: l, epoch: epoch, radio: radio}
	log := series{bad: l.Bad}
	err := l.Each(ctx, "", epoch, func(f *ingest.Frame, _ *decode.Parsed) error {
		log.add(f.Heard)
		return nil
	})
	if err != nil {
		return nil, err
	}
	var whole, within series // within the log's time
	for i := range radio {
		at := radio[i].Heard
		whole.add(at)
		if !at.Before(log.first) && !at.After(log.last) {
			within.add(at)
		}
	}
	o.LogWins = log.score() >= within.score()
	if o.LogWins {
		o.gap = 3 * log.usualStep()
	} else {
		o.gap = 3 * whole.usualStep()
	}
	return o, nil
}

// series is the times of one source of frames.
type series struct {
	first, last time.Time
	steps       []time.Duration // between neighbours
	n, bad      int             // bad are pieces that gave no sample
}

func (s *series) add(at time.Time) {
	if s.n == 0 {
		s.first = at
	} else {
		s.steps = append(s.steps, at.Sub(s.last))
	}
	s.last = at
	s.n++
}

// score is how dense and clean a series is: good frames a second, once more
// lowered by the part that was bad.
func (s *series) score() float64 {
	span := s.last.Sub(s.first).Seconds()
	if s.n < 2 || span <= 0 {
		return 0
	}
	return float64(s.n) / span * float64(s.n) / float64(s.n+s.bad)
}

// usualStep is the median time between frames.
func (s *series) usualStep() time.Duration {
	if len(s.steps) == 0 {
		return 0
	}
	slices.Sort(s.steps)
	return s.steps[len(s.steps)/2]
}

// Each goes through the frames of both in order of Heard, those of the winner
// first where they are of one time. fn may keep a frame's bytes, not f itself.
func (o *Overlay) Each(ctx context.Context, fn func(f *ingest.Frame) error) error {
	lay := layer{Overlay: o, rest: o.radio, fn: fn}
	sorted := sorter{out: lay.take}
	err := o.log.Each(ctx, "", o.epoch, func(f *ingest.Frame, _ *decode.Parsed) error { return sorted.add(f) })
	if err != nil {
		return err
	}
	if err := sorted.flush(time.Time{}); err != nil {
		return err
	}
	return lay.end()
}

// layer takes the frames of the log in order.
type layer struct {
	*Overlay
	rest   []ingest.Frame // of the radio
	before time.Time      // of the winner's newest; zero if there is none
	fn     func(f *ingest.Frame) error
}

func (y *layer) take(f *ingest.Frame) error {
	for len(y.rest) > 0 {
		r := &y.rest[0]
		if c := r.Heard.Compare(f.Heard); c > 0 || c == 0 && y.LogWins {
			break
		}
		if err := y.radio(r, f.Heard); err != nil {
			return err
		}
	}
	if y.LogWins {
		y.before = f.Heard
		return y.fn(f)
	}
	var after time.Time
	if len(y.rest) > 0 {
		after = y.rest[0].Heard
	}
	return y.ifHole(f, after)
}

// radio takes the first frame of the rest; after is when the log's next is,
// zero if there is none.
func (y *layer) radio(r *ingest.Frame, after time.Time) error {
	y.rest = y.rest[1:]
	if y.LogWins {
		return y.ifHole(r, after)
	}
	y.before = r.Heard
	return y.fn(r)
}

func (y *layer) end() error {
	for len(y.rest) > 0 {
		if err := y.radio(&y.rest[0], time.Time{}); err != nil {
			return err
		}
	}
	return nil
}

// ifHole passes a frame on that lies in a hole of the winner: further from both
// neighbours than a usual step, and they are further apart than a few.
func (y *layer) ifHole(f *ingest.Frame, after time.Time) error {
	from, to := time.Duration(math.MaxInt64/4), time.Duration(math.MaxInt64/4)
	if !y.before.IsZero() {
		from = f.Heard.Sub(y.before)
	}
	if !after.IsZero() {
		to = after.Sub(f.Heard)
	}
	if min(from, to) > y.gap/3 && from+to > y.gap {
		return y.fn(f)
	}
	return nil
}

// sorter puts the frames of a log in order of Heard, from which a line may
// differ by a little. It holds the last second of them.
type sorter struct {
	held []ingest.Frame // in order
	out  func(f *ingest.Frame) error
}

const sortWindow = time.Second // twice reorder

func (s *sorter) add(f *ingest.Frame) error {
	i := len(s.held)
	for i > 0 && f.Heard.Before(s.held[i-1].Heard) {
		i--
	}
	s.held = slices.Insert(s.held, i, *f)
	// Now and then, so that handing on a frame does not move all others.
	if len(s.held) < 64 || len(s.held) < cap(s.held) {
		return nil
	}
	return s.flush(s.held[len(s.held)-1].Heard.Add(-sortWindow))
}

// flush hands on what is older than upto, all if upto is zero.
func (s *sorter) flush(upto time.Time) error {
	n := 0
	for ; n < len(s.held) && (upto.IsZero() || s.held[n].Heard.Before(upto)); n++ {
		if err := s.out(&s.held[n]); err != nil {
			return err
		}
	}
	s.held = slices.Delete(s.held, 0, n)
	return nil
}
