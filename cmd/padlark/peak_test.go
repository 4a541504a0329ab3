//go:build linux

package main

import (
	"os"
	"syscall"
)

// peakBytes is the most memory that a process that has ended held at a time.
func peakBytes(p *os.ProcessState) int64 {
	if u, ok := p.SysUsage().(*syscall.Rusage); ok {
		return u.Maxrss << 10 // in KiB (getrusage(2))
	}
	return 0
}
