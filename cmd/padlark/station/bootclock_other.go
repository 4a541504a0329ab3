//go:build !linux

package station

import "time"

// bootClock is there for Linux only.
func bootClock() (boot string, up time.Duration, ok bool) { return "", 0, false }
