package station

import (
	"os"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// bootClock names this run of the operating system and tells how long it has
// lasted, also asleep; setting the date does not move it.
func bootClock() (boot string, up time.Duration, ok bool) {
	id, err := os.ReadFile("/proc/sys/kernel/random/boot_id")
	if err != nil {
		return "", 0, false
	}
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &ts); err != nil {
		return "", 0, false
	}
	return strings.TrimSpace(string(id)), time.Duration(ts.Nano()), true
}
