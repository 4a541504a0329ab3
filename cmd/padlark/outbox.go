package main

import (
	"fmt"
	"io"
	"sync"
	"time"
)

const (
	outboxMost = 1 << 20 // bytes that wait to be written
	// outboxLeave is how long the end waits for somebody to read the rest.
	outboxLeave = time.Second
)

// outbox writes in the background, in order, so that a terminal that is stopped
// or a pipe that nobody reads holds up no warning. What finds no room is dropped,
// the newest first, and how much that was is written when there is room again.
type outbox struct {
	mu     sync.Mutex
	queue  []posted
	bytes  int
	lost   int
	closed bool
	wake   chan struct{}
	done   chan struct{} // closed when everything has been written
}

// posted is one write.
type posted struct {
	to   io.Writer
	text []byte
}

// newOutbox starts one; close must follow.
func newOutbox() *outbox {
	s := &outbox{wake: make(chan struct{}, 1), done: make(chan struct{})}
	go s.run()
	return s
}

// boxWriter is the way to one writer through the outbox.
type boxWriter struct {
	box *outbox
	to  io.Writer
}

// of is the way to a command's writer through the outbox, what it takes out of
// text included.
func (s *outbox) of(w io.Writer) io.Writer {
	if p, ok := w.(plainText); ok {
		return newPlainText(boxWriter{s, p.to})
	}
	return boxWriter{s, w}
}

// Write takes a copy and returns at once.
func (w boxWriter) Write(b []byte) (int, error) {
	s := w.box
	s.mu.Lock()
	if s.bytes+len(b) > outboxMost {
		s.lost++
	} else {
		if s.lost > 0 {
			s.put(w.to, fmt.Appendf(nil, "(%d pieces of this were not written: nobody read them)\n", s.lost))
			s.lost = 0
		}
		s.put(w.to, append([]byte(nil), b...))
	}
	s.mu.Unlock()
	select {
	case s.wake <- struct{}{}:
	default:
	}
	return len(b), nil
}

func (s *outbox) put(to io.Writer, text []byte) {
	s.queue = append(s.queue, posted{to, text})
	s.bytes += len(text)
}

func (s *outbox) run() {
	defer close(s.done)
	for {
		s.mu.Lock()
		if len(s.queue) == 0 {
			closed := s.closed
			s.queue = nil
			s.mu.Unlock()
			if closed {
				return
			}
			<-s.wake
			continue
		}
		next := s.queue[0]
		s.queue = s.queue[1:]
		s.mu.Unlock()
		_, _ = next.to.Write(next.text) // there is nobody to tell that it cannot be written
		s.mu.Lock()
		s.bytes -= len(next.text)
		s.mu.Unlock()
	}
}

// close writes what waits, but not for longer than outboxLeave: a write that
// nobody reads ends with the process.
func (s *outbox) close() {
	s.mu.Lock()
	s.closed = true
	s.mu.Unlock()
	select {
	case s.wake <- struct{}{}:
	default:
	}
	t := time.NewTimer(outboxLeave)
	defer t.Stop()
	select {
	case <-s.done:
	case <-t.C:
	}
}
