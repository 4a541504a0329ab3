//go:build !unix

package callout

import (
	"context"
	"os/exec"
	"time"
)

// newCommand prepares a command that is killed when the context ends.
func newCommand(ctx context.Context, command []string) *exec.Cmd {
	cmd := exec.CommandContext(ctx, command[0], command[1:]...)
	cmd.WaitDelay = 100 * time.Millisecond
	return cmd
}
