package ingest

import (
	"container/heap"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"time"
)

// mergeAhead is how many chunks of each capture are looked at ahead. Links
// write to a capture as they get their turn, so a chunk can stand a few places
// behind one that was heard after it.
const mergeAhead = 64

// Merge reads one or more captures as if they were one, in the order of time
// over all their links. The chunks of any one link keep their order.
type Merge struct {
	sources []mergeSource
	epoch   time.Time
	queue   mergeQueue
	serial  uint64
	files   []*os.File
	err     error // damage in a source, returned once what is before it is out
}

type mergeSource struct {
	r     *CaptureReader
	shift time.Duration // from the capture's epoch to the merge's
	ahead int           // its chunks in the queue
	ended bool
	last  map[string]time.Duration
}

// mergeItem is a chunk that owns its bytes.
type mergeItem struct {
	chunk  Chunk
	order  time.Duration // Heard, or that of a link's chunk before it if later
	serial uint64
	source int
}

type mergeQueue []mergeItem

func (q mergeQueue) Len() int { return len(q) }
func (q mergeQueue) Less(a, b int) bool {
	if q[a].order != q[b].order {
		return q[a].order < q[b].order
	}
	return q[a].serial < q[b].serial
}
func (q mergeQueue) Swap(a, b int) { q[a], q[b] = q[b], q[a] }
func (q *mergeQueue) Push(x any)   { *q = append(*q, x.(mergeItem)) }
func (q *mergeQueue) Pop() any {
	old := *q
	item := old[len(old)-1]
	old[len(old)-1] = mergeItem{}
	*q = old[:len(old)-1]
	return item
}

// newMerge merges captures. Their times are moved to the earliest epoch among
// them.
func newMerge(readers ...*CaptureReader) *Merge {
	m := &Merge{}
	for i, r := range readers {
		if i == 0 || r.Info().Epoch.Before(m.epoch) {
			m.epoch = r.Info().Epoch
		}
	}
	for _, r := range readers {
		m.sources = append(m.sources, mergeSource{r: r, shift: r.Info().Epoch.Sub(m.epoch), last: map[string]time.Duration{}})
	}
	return m
}

// OpenCaptures opens files and merges them; Close closes them.
func OpenCaptures(paths ...string) (*Merge, error) {
	var files []*os.File
	var readers []*CaptureReader
	fail := func(err error) (*Merge, error) {
		for _, f := range files {
			_ = f.Close() // it was only read from
		}
		return nil, err
	}
	for _, path := range paths {
		f, err := os.Open(path)
		if err != nil {
			return fail(fmt.Errorf("open capture: %w", err))
		}
		files = append(files, f)
		r, err := NewCaptureReader(f)
		if err != nil {
			return fail(fmt.Errorf("%s: %w", path, err))
		}
		readers = append(readers, r)
	}
	m := newMerge(readers...)
	m.files = files
	return m, nil
}

// Close closes the files of OpenCaptures.
func (m *Merge) Close() error {
	var errs []error
	for _, f := range m.files {
		errs = append(errs, f.Close())
	}
	m.files = nil
	return errors.Join(errs...)
}

// Epoch is the moment (UTC) from which Heard counts in the merged chunks.
func (m *Merge) Epoch() time.Time { return m.epoch }

// Links are the links of all captures, each name once.
func (m *Merge) Links() []CaptureLink {
	var links []CaptureLink
	seen := map[string]bool{}
	for _, s := range m.sources {
		for _, l := range s.r.Info().Links {
			if !seen[l.Name] {
				seen[l.Name] = true
				links = append(links, l)
			}
		}
	}
	return links
}

// Torn says whether any capture ended in a torn record, once Next has returned
// io.EOF.
func (m *Merge) Torn() bool {
	for _, s := range m.sources {
		if _, torn := s.r.Torn(); torn {
			return true
		}
	}
	return false
}

// Next is the next chunk; it owns its bytes. It returns io.EOF at the end, and
// a damaged capture's error in place of it.
func (m *Merge) Next() (Chunk, error) {
	for i := range m.sources {
		m.fill(i)
	}
	if len(m.queue) == 0 {
		if m.err != nil {
			return Chunk{}, m.err
		}
		return Chunk{}, io.EOF
	}
	item := heap.Pop(&m.queue).(mergeItem)
	m.sources[item.source].ahead--
	return item.chunk, nil
}

// fill reads a source ahead.
func (m *Merge) fill(i int) {
	s := &m.sources[i]
	for s.ahead < mergeAhead && !s.ended {
		c, err := s.r.Next()
		if err != nil {
			s.ended = true
			if !errors.Is(err, io.EOF) {
				m.err = errors.Join(m.err, err)
			}
			return
		}
		c.Heard += s.shift
		if c.Framed.N > 0 {
			c.Framed.Passed += s.shift
		}
		c.Bytes = append([]byte(nil), c.Bytes...)
		if c.RSSI != nil {
			v := *c.RSSI
			c.RSSI = &v
		}
		order := max(c.Heard, s.last[c.Link])
		s.last[c.Link] = order
		m.serial++
		heap.Push(&m.queue, mergeItem{c, order, m.serial, i})
		s.ahead++
	}
}

// Replay passes every chunk to the receiver of its link, in the order of time,
// and moves the clock along. Each link must have a receiver; one that is nil
// leaves its link out. It does not wait between chunks.
func Replay(ctx context.Context, m *Merge, clock *VirtualClock, receivers map[string]*Receiver, out func(Frame) error) error {
	for _, l := range m.Links() {
		if _, known := receivers[l.Name]; !known {
			return fmt.Errorf("replay capture: link %q has no receiver", l.Name)
		}
	}
	for ctx.Err() == nil {
		c, err := m.Next()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		clock.Advance(c.Heard)
		if r := receivers[c.Link]; r != nil {
			if err := r.Push(c, out); err != nil {
				return err
			}
		}
	}
	return nil
}
