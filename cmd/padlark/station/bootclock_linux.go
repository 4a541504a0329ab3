package station

import (
	"fmt"
	"os"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// bootClock names this run of the operating system and tells how long it has
// lasted, also asleep; setting the date does not move it.
func bootClock() (boot string, up time.Duration, ok bool) {
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &ts); err != nil {
		return "", 0, false
	}
	boot = bootName()
	return boot, time.Duration(ts.Nano()), boot != ""
}

// bootName is the kernel's own name of this run. A service that may not see
// /proc/sys takes the moment at which /run was made, which each start does anew.
func bootName() string {
	if id, err := os.ReadFile("/proc/sys/kernel/random/boot_id"); err == nil {
		return strings.TrimSpace(string(id))
	}
	var st unix.Statx_t
	err := unix.Statx(unix.AT_FDCWD, "/run", 0, unix.STATX_BTIME, &st)
	if err != nil || st.Mask&unix.STATX_BTIME == 0 {
		return ""
	}
	return fmt.Sprintf("run-%d.%09d", st.Btime.Sec, st.Btime.Nsec)
}
