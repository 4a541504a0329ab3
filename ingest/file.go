package ingest

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"
	"syscall"
	"time"
)

// fileLink reads a file or the standard input: plain bytes, or a capture,
// which is recognised by how it begins.
type fileLink struct {
	runner
	path    string // empty: standard input
	capture string // which link of a capture; empty: see pickLink

	// pipe is the path's named pipe. It stays open from one try to the next: what a
	// program writes that has opened it just before would be lost with its only
	// reader.
	pipe *os.File
}

// Run implements Link. It returns when the input has ended.
func (l *fileLink) Run(ctx context.Context, out func(Chunk) error) error {
	defer l.closePipe()
	return l.keep(ctx, out, l.try, l.watchPipe)
}

// watchPipe makes a link look for the next writer of its pipe soon: that one need
// not wait for a reader, so nothing else tells.
func (l *fileLink) watchPipe() func() bool {
	return func() bool { return l.pipe != nil }
}

func (l *fileLink) closePipe() {
	if l.pipe != nil {
		_ = l.pipe.Close() // it was only read from
		l.pipe = nil
	}
}

func (l *fileLink) try(ctx context.Context) error {
	if l.path == "" {
		if l.env.Stdin == nil {
			return &stopError{fmt.Errorf("read standard input: there is none")}
		}
		return l.read(ctx, interruptible(ctx, l.env.Stdin), "standard input", false)
	}
	if l.pipeIsThere() {
		return l.readFile(ctx, l.pipe, true)
	}
	l.closePipe()
	// Without O_NONBLOCK, opening a named pipe waits for a writer, and cannot
	// be interrupted.
	f, err := os.OpenFile(l.path, os.O_RDONLY|syscall.O_NONBLOCK, 0)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return &missingError{l.path + " is not there: correct the path, or make the file; it is read as soon as it is there"}
	case errors.Is(err, fs.ErrPermission):
		return fmt.Errorf("no permission to read %s: change its owner or mode (ls -l %s)", l.path, l.path)
	case err != nil:
		return fmt.Errorf("open file: %w", err)
	}
	info, err := f.Stat()
	if err == nil && info.Mode()&fs.ModeNamedPipe != 0 {
		l.pipe = f
		return l.readFile(ctx, f, true)
	}
	defer f.Close() //nolint:errcheck // it was only read from
	if err != nil {
		return fmt.Errorf("look at file: %w", err)
	}
	if info.IsDir() {
		return &stopError{fmt.Errorf("read %s: it is a folder; name a file", l.path)}
	}
	return l.readFile(ctx, f, false)
}

// pipeIsThere says whether the pipe that is open is still the one of the path.
func (l *fileLink) pipeIsThere() bool {
	if l.pipe == nil {
		return false
	}
	open, err1 := l.pipe.Stat()
	there, err2 := os.Stat(l.path)
	return err1 == nil && err2 == nil && os.SameFile(open, there)
}

func (l *fileLink) readFile(ctx context.Context, f *os.File, pipe bool) error {
	// A regular file never waits; a pipe is woken by a deadline in the past.
	defer context.AfterFunc(ctx, func() { _ = f.SetReadDeadline(time.Unix(1, 0)) })()
	return l.read(ctx, f, l.path, pipe)
}

// read passes on everything in r. again says that the end of the input is not
// for good: a named pipe can have another writer.
func (l *fileLink) read(ctx context.Context, r io.Reader, name string, again bool) error {
	br := bufio.NewReaderSize(r, 65536)
	head, capture, err := peekCapture(br)
	if len(head) == 0 && again && err != nil {
		return &missingError{name + " has no writer: start the program that writes to it"}
	}
	l.up("reading " + name)
	if capture {
		// A capture says itself where its streams end.
		err = l.readCapture(ctx, br, name)
	} else {
		err = l.readPlain(ctx, br)
	}
	if err != nil || ctx.Err() != nil {
		return err
	}
	if again {
		return fmt.Errorf("%s has no writer: start the program that writes to it", name)
	}
	return &endedError{name + " was read to its end"}
}

// peekCapture looks whether a capture begins. It waits for no more bytes than it
// takes to tell: the first message of a pipe may be shorter than a capture's mark.
func peekCapture(br *bufio.Reader) (head []byte, capture bool, err error) {
	for n := 1; ; n++ {
		head, err = br.Peek(n)
		mayBe := false
		for _, magic := range []string{captureMagic, zstdMagic} {
			if string(head) == magic {
				return head, true, err
			}
			mayBe = mayBe || strings.HasPrefix(magic, string(head))
		}
		if !mayBe || err != nil {
			return head, false, err
		}
	}
}

// readPlain passes plain bytes on as they come, or as a line at the link's
// rate would bring them.
func (l *fileLink) readPlain(ctx context.Context, r io.Reader) error {
	size := 4096
	if l.baud > 0 {
		// About ten milliseconds' worth.
		size = min(max(l.baud/1000, 1), size)
	}
	buf := make([]byte, size)
	start := l.env.Clock.Now()
	heard := start
	var sum int64
	for ctx.Err() == nil {
		n, err := r.Read(buf)
		heard = max(heard, l.env.Clock.Now())
		if n > 0 {
			sum += int64(n)
			if l.baud > 0 {
				heard = l.due(ctx, start+wireTime(sum, l.baud))
			}
			if err := l.send(Chunk{Heard: heard, Bytes: buf[:n], Baud: l.baud}); err != nil {
				return err
			}
		}
		switch {
		case errors.Is(err, io.EOF):
			return l.send(Chunk{Heard: heard, End: EndWhole})
		case err != nil && ctx.Err() == nil:
			return fmt.Errorf("read input: %w", err)
		}
	}
	return nil
}

// wireTime is how long n bytes take at ten bits a byte. It is computed in two
// parts because n * 1e10 would overflow after a gigabyte.
func wireTime(n int64, baud int) time.Duration {
	b := int64(baud)
	bits := n * 10
	return time.Duration(bits/b)*time.Second + time.Duration(bits%b)*time.Second/time.Duration(b)
}

// due waits for a moment on the session's clock and says what time it is then.
// A virtual clock is not waited for: then it is the moment itself.
func (l *fileLink) due(ctx context.Context, at time.Duration) time.Duration {
	clock := l.env.Clock
	if clock.Virtual() {
		return at
	}
	if d := at - clock.Now(); d > 0 {
		waitFor(ctx, d, nil)
	}
	return max(clock.Now(), at)
}

// readCapture passes on the chunks of one of a capture's links. On a clock
// that runs, they come with the pauses that they were recorded with, counted
// from the capture's first chunk; on a virtual one, at once and under their
// recorded times.
func (l *fileLink) readCapture(ctx context.Context, r io.Reader, name string) error {
	cr, err := NewCaptureReader(r)
	if err != nil {
		return &stopError{fmt.Errorf("read %s: %w", name, err)}
	}
	from, err := cr.Info().pickLink(l.name, l.capture)
	if err != nil {
		return &stopError{fmt.Errorf("read %s: %w", name, err)}
	}
	clock := l.env.Clock
	shift := cr.Info().Epoch.Sub(clock.Epoch)
	begun := clock.Virtual()
	for ctx.Err() == nil {
		c, err := cr.Next()
		switch {
		case errors.Is(err, io.EOF):
			return nil
		case err != nil && ctx.Err() != nil:
			return nil
		case err != nil:
			return &stopError{fmt.Errorf("read %s: %w", name, err)}
		}
		if !begun {
			begun, shift = true, clock.Now()-c.Heard
		}
		if c.Link != from {
			continue
		}
		if c.Framed.N > 0 {
			c.Framed.Passed += shift
		}
		c.Heard = l.due(ctx, c.Heard+shift)
		if c.Heard < 0 {
			return &stopError{fmt.Errorf("read %s: it was begun at %s, before the session's epoch %s", name,
				cr.Info().Epoch.Format(time.RFC3339Nano), clock.Epoch.Format(time.RFC3339Nano))}
		}
		if err := l.send(c); err != nil {
			return err
		}
	}
	return nil
}
