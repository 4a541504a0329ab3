package influx

import (
	"context"
	"sync"
	"time"
)

// How many lines one request carries. It shrinks when a request takes too long
// or is too large, and grows again while the server is quick.
const (
	chunkMost  = 5000
	chunkLeast = 20
	quick      = time.Second
)

// target is the far end as the sender sees it; tests have another one.
type target interface {
	lines(ctx context.Context, text string) *failure
}

// sender puts blocks of lines on the server and sets aside the lines that it
// will never take. Several goroutines may use one.
type sender struct {
	to       target
	rejected *rejected

	mu    sync.Mutex
	chunk int
	good  string // a line that the server has taken
	count Counts
}

// Counts is what has been sent. Lines that were sent twice count twice.
type Counts struct {
	Lines    uint64 // taken by the server
	Requests uint64
	Failures uint64 // requests that failed, those that found bad lines included
	Rejected uint64 // lines set aside
}

func newSender(to target, a *rejected) *sender { return &sender{to: to, rejected: a, chunk: chunkMost} }

func (s *sender) counts() Counts {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.count
}

// send writes the lines of b from index from on and returns how far it came. The
// error is a *failure, or one of writing the set-aside file.
func (s *sender) send(ctx context.Context, b *block, from int) (int, error) {
	for from < b.len() {
		s.mu.Lock()
		to := min(from+s.chunk, b.len())
		s.mu.Unlock()
		t := &trial{s: s, b: b}
		f := t.write(ctx, from, to)
		if f != nil && (f.verdict == tooLarge || f.timeout) && s.shrink(to-from) {
			continue
		}
		if f == nil {
			f = t.judgeSuspects(ctx)
		}
		if f != nil {
			return from, f
		}
		if err := s.rejected.add(t.bad); err != nil {
			return from, err
		}
		s.mu.Lock()
		s.count.Rejected += uint64(len(t.bad))
		s.mu.Unlock()
		from = to
	}
	return from, nil
}

// shrink makes requests smaller; false if they cannot be.
func (s *sender) shrink(was int) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	if was <= 1 {
		return false
	}
	next := max(was/4, 1)
	if was > chunkLeast {
		next = max(next, chunkLeast)
	}
	s.chunk = min(s.chunk, next)
	return true
}

// request sends some lines once and counts.
func (s *sender) request(ctx context.Context, text string, lines int) *failure {
	start := time.Now()
	f := s.to.lines(ctx, text)
	s.mu.Lock()
	defer s.mu.Unlock()
	s.count.Requests++
	if f != nil {
		s.count.Failures++
		return f
	}
	s.count.Lines += uint64(lines)
	if time.Since(start) < quick {
		s.chunk = min(2*s.chunk, chunkMost)
	}
	return nil
}

// trial is one stretch of lines on its way: it narrows down which of them are
// bad by halving.
type trial struct {
	s        *sender
	b        *block
	taken    int   // lines that the server took
	suspects []int // lines refused alone, with an answer that does not blame them
	why      *failure
	bad      []badLine
}

// write sends lines from <= i < to. The failure it returns concerns the server;
// bad lines are collected.
func (t *trial) write(ctx context.Context, from, to int) *failure {
	n := to - from
	f := t.s.request(ctx, t.b.text(from, to), n)
	switch {
	case f == nil:
		t.taken += n
		t.s.mu.Lock()
		t.s.good = t.b.text(to-1, to)
		t.s.mu.Unlock()
		return nil
	case f.verdict == tooLarge && n == 1:
		t.blame(from, f)
		return nil
	case f.verdict != badLines && f.verdict != unclear:
		return f
	case f.verdict == badLines && (n == 1 || f.dropped == n):
		for i := from; i < to; i++ {
			t.blame(i, f)
		}
		return nil
	case n == 1:
		t.suspects = append(t.suspects, from)
		t.why = f
		return nil
	}
	mid := from + n/2
	if f := t.write(ctx, from, mid); f != nil {
		return f
	}
	return t.write(ctx, mid, to)
}

func (t *trial) blame(i int, f *failure) {
	t.bad = append(t.bad, badLine{text: t.b.text(i, i+1), reason: f.Error()})
}

// judgeSuspects decides about lines that were refused with an answer that may as
// well mean that the server takes nothing at all. They are bad only if it takes
// others: from the same stretch, or one that it has taken before.
func (t *trial) judgeSuspects(ctx context.Context) *failure {
	if len(t.suspects) == 0 {
		return nil
	}
	if t.taken == 0 {
		t.s.mu.Lock()
		good := t.s.good
		t.s.mu.Unlock()
		if good == "" {
			return t.why
		}
		f := t.s.request(ctx, good, 0)
		if f != nil && (f.verdict == tryAgain || f.verdict == refused) {
			return f
		}
		if f != nil {
			return t.why
		}
	}
	for _, i := range t.suspects {
		t.blame(i, t.why)
	}
	return nil
}
