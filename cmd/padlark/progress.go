package main

import (
	"fmt"
	"io"
	"os"
	"sync"
	"sync/atomic"
	"time"

	"golang.org/x/term"
)

// progress says on a writer how far long work has come, from two seconds on: on
// a terminal in one line that is drawn again, elsewhere in a line every two
// seconds. All of its methods are safe for concurrent use, and for nil.
type progress struct {
	doing, what string
	of          int64 // 0 if nobody knows
	did         atomic.Int64
	due         atomic.Int64 // ns since begun at which it says so next
	begun       time.Time
	live        bool

	mu    sync.Mutex // of what follows
	out   io.Writer
	drawn bool
}

// progressFrom is when it is told first, progressEvery how often after that,
// progressLive on a terminal.
const (
	progressFrom  = 2 * time.Second
	progressEvery = 2 * time.Second
	progressLive  = 200 * time.Millisecond
)

func newProgress(out io.Writer, doing, what string, of int64) *progress {
	p := &progress{out: out, doing: doing, what: what, of: of, begun: time.Now()}
	if f, ok := fileOf(out); ok {
		p.live = term.IsTerminal(int(f.Fd())) && os.Getenv("TERM") != "dumb"
	}
	p.due.Store(int64(progressFrom))
	return p
}

// done counts one.
func (p *progress) done() {
	if p != nil {
		p.tell(p.did.Add(1))
	}
}

// at says that so much is done.
func (p *progress) at(n int64) {
	if p != nil {
		p.did.Store(n)
		p.tell(n)
	}
}

// upTo is at for who counts so.
func (p *progress) upTo(n uint64) { p.at(int64(n)) }

func (p *progress) tell(n int64) {
	every := progressEvery
	if p.live {
		every = progressLive
	}
	now := int64(time.Since(p.begun))
	due := p.due.Load()
	if now >= due && p.due.CompareAndSwap(due, now+int64(every)) {
		p.say(n)
	}
}

// end says that all is done, if anything was said before.
func (p *progress) end() {
	if p == nil || p.due.Swap(int64(progressFrom)) == int64(progressFrom) {
		return
	}
	p.say(p.did.Load())
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.drawn {
		fmt.Fprintln(p.out)
	}
	p.drawn = false
}

func (p *progress) say(n int64) {
	text := fmt.Sprintf("padlark: %s: %d %s", p.doing, n, p.what)
	if p.of > 0 {
		text = fmt.Sprintf("padlark: %s: %d of %d %s", p.doing, n, p.of, p.what)
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if !p.live {
		fmt.Fprintln(p.out, text)
		return
	}
	p.drawn = true
	io.WriteString(raw(p.out), "\r\x1b[2K"+plain(clip(text, columns-1))) //nolint:errcheck // said for nobody then
}

// Write lets lines pass that are told in the meantime.
func (p *progress) Write(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.drawn {
		io.WriteString(raw(p.out), "\r\x1b[2K") //nolint:errcheck // as in say
		p.drawn = false
	}
	return p.out.Write(b)
}
