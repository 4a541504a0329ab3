//go:build unix

package ingest

import (
	"os/exec"
	"syscall"
)

// ownGroup gives the program a process group of its own, which is told to end when
// the context does: a shell's children too.
func ownGroup(cmd *exec.Cmd) {
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	cmd.Cancel = func() error { return syscall.Kill(-cmd.Process.Pid, syscall.SIGTERM) }
}

// killGroup ends whatever is left of the program's group. Its number is not given
// to others as long as one of it lives.
func killGroup(cmd *exec.Cmd) { _ = syscall.Kill(-cmd.Process.Pid, syscall.SIGKILL) }
