//go:build unix

package ingest

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"

	"golang.org/x/sys/unix"
)

// interruptible makes reads of an open file stop waiting when the context is
// cancelled. A terminal or pipe that is inherited cannot be given a deadline,
// and to make it non-blocking would do so for the program that it came from
// too; so each read first waits, in steps, until there is something to read.
// A reader that is not a file is used as it is.
func interruptible(ctx context.Context, r io.Reader) io.Reader {
	if f, ok := r.(*os.File); ok {
		return &polledFile{ctx, f}
	}
	return r
}

type polledFile struct {
	ctx context.Context
	f   *os.File
}

const pollStepMs = 100

func (p *polledFile) Read(b []byte) (int, error) {
	raw, err := p.f.SyscallConn()
	if err != nil {
		return 0, fmt.Errorf("wait for input: %w", err)
	}
	for {
		if err := p.ctx.Err(); err != nil {
			return 0, err
		}
		var n int
		var pollErr error
		if err := raw.Control(func(fd uintptr) {
			fds := []unix.PollFd{{Fd: int32(fd), Events: unix.POLLIN}}
			n, pollErr = unix.Poll(fds, pollStepMs)
		}); err != nil {
			return 0, fmt.Errorf("wait for input: %w", err)
		}
		switch {
		case errors.Is(pollErr, unix.EINTR):
			continue
		case pollErr != nil:
			return 0, fmt.Errorf("wait for input: %w", pollErr)
		case n > 0:
			return p.f.Read(b)
		}
	}
}
