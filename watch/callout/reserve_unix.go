//go:build unix

package callout

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os/exec"
	"syscall"
)

// reserve is a process that waits for the moment when no other can be started:
// no descriptor, no memory or no process is left. It is a shell that becomes the
// command once it gets a line, so nothing has to be opened then. What follows the
// line on its standard input is the command's.
type reserve struct {
	cmd   *exec.Cmd
	in    io.WriteCloser
	words *tail
	stop  context.CancelFunc
}

// newReserve starts one; nil where there is no shell.
func newReserve(command []string) *reserve {
	ctx, stop := context.WithCancel(context.Background())
	args := append([]string{"/bin/sh", "-c", `IFS= read -r go && exec "$@"`, "sh"}, command...)
	r := &reserve{cmd: newCommand(ctx, args), words: &tail{}, stop: stop}
	r.cmd.Stderr = r.words
	var err error
	if r.in, err = r.cmd.StdinPipe(); err != nil {
		stop()
		return nil
	}
	if err := r.cmd.Start(); err != nil {
		stop()
		_ = r.in.Close()
		return nil
	}
	return r
}

// speak lets it become the command, to its end or until the context ends.
func (r *reserve) speak(ctx context.Context, name, text string) error {
	defer context.AfterFunc(ctx, r.stop)()
	_, err := io.WriteString(r.in, "\n"+text+"\n")
	err = errors.Join(err, r.in.Close(), r.cmd.Wait())
	r.stop()
	if err != nil {
		return fmt.Errorf("run callout command %q from the reserve: %w %s", name, err, r.words)
	}
	return nil
}

// close ends one that was not needed.
func (r *reserve) close() {
	if r == nil {
		return
	}
	r.stop()
	_ = r.in.Close()
	_ = r.cmd.Wait() // it was killed
}

// exhausted says that a process could not be started for want of something that
// the reserve does not need.
func exhausted(err error) bool {
	for _, e := range []error{syscall.EMFILE, syscall.ENFILE, syscall.EAGAIN, syscall.ENOMEM} {
		if errors.Is(err, e) {
			return true
		}
	}
	return false
}
