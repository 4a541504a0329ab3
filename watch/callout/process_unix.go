//go:build unix

package callout

import (
	"context"
	"errors"
	"os"
	"os/exec"
	"syscall"
	"time"
)

// killWait is how long after the kill the pipes of a process may stay open,
// held by something it started that left its group.
const killWait = 100 * time.Millisecond

// newCommand prepares a command in a process group of its own, so that the
// programs that a shell line starts end with it.
func newCommand(ctx context.Context, command []string) *exec.Cmd {
	cmd := exec.CommandContext(ctx, command[0], command[1:]...)
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	cmd.Cancel = func() error {
		if err := syscall.Kill(-cmd.Process.Pid, syscall.SIGKILL); !errors.Is(err, syscall.ESRCH) {
			return err
		}
		return os.ErrProcessDone
	}
	cmd.WaitDelay = killWait
	return cmd
}
