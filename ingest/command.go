package ingest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"sync"
	"time"
)

const (
	// endWithin is how long a program that was told to end may take before it is
	// killed.
	endWithin = 2 * time.Second
	// A program's complaints go to the log, so many at once and so many a minute;
	// longer lines are cut.
	complaintsAtOnce  = 20
	complaintsEvery   = 3 * time.Second
	longestComplaint  = 400
	complaintsWithout = time.Minute // between two words on those left out
)

// commandLink runs a program, whose standard output is the stream of bytes.
type commandLink struct {
	runner
	command []string
}

// Run implements Link. When it returns, the program and all that it has started in
// its process group are gone.
func (l *commandLink) Run(ctx context.Context, out func(Chunk) error) error {
	l.patient = true // a program that says a word and dies must not be started five times a second
	return l.keep(ctx, out, l.try, nil)
}

func (l *commandLink) try(parent context.Context) error {
	ctx, cancel := context.WithCancel(parent)
	defer cancel()
	r, w, err := os.Pipe()
	if err != nil {
		return fmt.Errorf("run %s: %w", l.command[0], err)
	}
	defer r.Close() //nolint:errcheck // it was only read from
	said := &complaints{tell: func(line string) {
		l.env.Log.Warn().Str("link", l.name).Str("program", l.command[0]).Msg(line)
	}}
	cmd := exec.CommandContext(ctx, l.command[0], l.command[1:]...)
	cmd.Stdout, cmd.Stderr = w, said
	cmd.WaitDelay = endWithin
	ownGroup(cmd)
	err = cmd.Start()
	_ = w.Close() // the program has its own
	if err != nil {
		return explainStart(l.command[0], err)
	}
	l.up("running " + strings.Join(l.command, " "))
	stop := context.AfterFunc(parent, func() { _ = r.SetReadDeadline(time.Unix(1, 0)) })
	defer stop()
	fatal := l.read(parent, r)
	cancel()
	// Wait brings what the program said of its end; the reasons are told below.
	_ = cmd.Wait()
	killGroup(cmd)
	said.flush()
	switch {
	case fatal != nil || parent.Err() != nil:
		return fatal
	case cmd.ProcessState.Success():
		// What it wrote last is whole, with or without an end of line.
		if err := l.send(Chunk{Heard: l.env.Clock.Now(), End: EndWhole}); err != nil {
			return err
		}
		return fmt.Errorf("%s ended; it is started again", l.command[0])
	}
	return fmt.Errorf("%s ended: %s%s; it is started again", l.command[0], cmd.ProcessState, said.lastWords())
}

// read passes on what the program writes, until it writes no more.
func (l *commandLink) read(ctx context.Context, r io.Reader) error {
	buf := make([]byte, 4096)
	for {
		n, err := r.Read(buf)
		heard := l.env.Clock.Now()
		if n > 0 {
			if err := l.send(Chunk{Heard: heard, Bytes: buf[:n]}); err != nil {
				return err
			}
		}
		switch {
		case ctx.Err() != nil || errors.Is(err, io.EOF):
			return nil
		case err != nil:
			return fmt.Errorf("read from %s: %w", l.command[0], err)
		}
	}
}

// explainStart says what to do about a program that does not start.
func explainStart(program string, err error) error {
	if errors.Is(err, exec.ErrNotFound) || errors.Is(err, os.ErrNotExist) {
		return &missingError{program + " is not there: install the program, or give its whole path"}
	}
	return fmt.Errorf("start %s: %w", program, err)
}

// complaints passes a program's standard error on to the log, line by line, but no
// more than a person would read.
type complaints struct {
	tell func(line string)

	mu      sync.Mutex
	pending []byte
	last    string
	told    int       // since the allowance was full
	at      time.Time // when the allowance was looked at
	left    int       // lines not told
	leftAt  time.Time // when the first of them came
}

// Write takes a piece of the standard error.
func (c *complaints) Write(b []byte) (int, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	all := len(b)
	for len(b) > 0 {
		line, rest, whole := bytes.Cut(b, []byte("\n"))
		room := max(longestComplaint-len(c.pending), 0)
		c.pending = append(c.pending, line[:min(room, len(line))]...)
		if whole {
			c.line()
		}
		b = rest
	}
	return all, nil
}

func (c *complaints) line() {
	text := strings.TrimSpace(strings.ToValidUTF8(string(c.pending), "?"))
	c.pending = c.pending[:0]
	if text == "" {
		return
	}
	c.last = text
	now := time.Now()
	again := int(now.Sub(c.at) / complaintsEvery)
	if c.told = max(c.told-again, 0); again > 0 || c.at.IsZero() {
		c.at = now
	}
	if c.told < complaintsAtOnce {
		c.told++
		c.sayLeft()
		c.tell(text)
		return
	}
	if c.left++; c.left == 1 {
		c.leftAt = now
	}
	if now.Sub(c.leftAt) >= complaintsWithout {
		c.sayLeft()
	}
}

// sayLeft tells how many lines were not told.
func (c *complaints) sayLeft() {
	if c.left > 0 {
		c.tell(fmt.Sprintf("%d more lines are left out", c.left))
		c.left = 0
	}
}

// flush tells what is left when the program has ended.
func (c *complaints) flush() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.line()
	c.sayLeft()
}

// lastWords are the last that the program said, to explain its end.
func (c *complaints) lastWords() string {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.last == "" {
		return ""
	}
	return fmt.Sprintf(" (it said: %s)", c.last)
}
