package ingest

import (
	"context"
	"errors"
	"slices"
	"sync"
	"time"
)

// recentMost is how many of the newest bytes of a link are kept in memory, and
// recentMarks how many chunks are told apart.
const (
	recentMost  = 64 << 10
	recentMarks = 4096
)

// Recent is what a link has heard lately, before any framing: for a person who asks
// what it may be.
type Recent struct {
	// Bytes are a stream, or Messages are whole ones, oldest first.
	Bytes    []byte
	Messages [][]byte
	// Seconds is how long they took to arrive.
	Seconds float64
}

// Gather runs a link until it ends, ctx does, or more has come than so many bytes of a
// stream or so many messages.
func Gather(ctx context.Context, l Link, mostBytes, mostMessages int) (r Recent, err error) {
	enough := errors.New("enough was heard")
	var first, last time.Duration
	err = l.Run(ctx, func(c Chunk) error {
		if len(c.Bytes) == 0 {
			return nil
		}
		if first == 0 {
			first = c.Heard
		}
		last = c.Heard
		if c.Datagram || c.Framed.N > 0 {
			r.Messages = append(r.Messages, slices.Clone(c.Bytes))
		} else {
			r.Bytes = append(r.Bytes, c.Bytes...)
		}
		if len(r.Bytes) > mostBytes || len(r.Messages) > mostMessages {
			return enough
		}
		return nil
	})
	r.Seconds = (last - first).Seconds()
	if errors.Is(err, enough) {
		err = nil
	}
	return r, err
}

// recent keeps the newest bytes. It is safe for concurrent use.
type recent struct {
	mu    sync.Mutex
	bytes []byte
	marks []mark
}

type mark struct {
	heard time.Duration
	size  int32
	whole bool // a message by itself
}

func (r *recent) add(c Chunk) {
	if len(c.Bytes) == 0 || len(c.Bytes) > recentMost {
		return
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.bytes = append(r.bytes, c.Bytes...)
	r.marks = append(r.marks, mark{c.Heard, int32(len(c.Bytes)), c.Datagram || c.Framed.N > 0})
	if len(r.bytes) <= recentMost+recentMost/4 && len(r.marks) <= recentMarks+recentMarks/4 {
		return
	}
	// A fifth of it goes at once, so that a byte is moved four times on average.
	drop, bytes := 0, 0
	for len(r.bytes)-bytes > recentMost || len(r.marks)-drop > recentMarks {
		bytes += int(r.marks[drop].size)
		drop++
	}
	r.bytes = append(r.bytes[:0], r.bytes[bytes:]...)
	r.marks = append(r.marks[:0], r.marks[drop:]...)
}

// Recent is what the link has heard lately; it is the caller's. It is safe for
// concurrent use.
func (r *Receiver) Recent() Recent {
	k := &r.recent
	k.mu.Lock()
	defer k.mu.Unlock()
	var out Recent
	if len(k.marks) == 0 {
		return out
	}
	out.Seconds = (k.marks[len(k.marks)-1].heard - k.marks[0].heard).Seconds()
	all := append([]byte(nil), k.bytes...)
	if !k.marks[len(k.marks)-1].whole {
		out.Bytes = all
		return out
	}
	for _, m := range k.marks {
		out.Messages = append(out.Messages, all[:m.size:m.size])
		all = all[m.size:]
	}
	return out
}
