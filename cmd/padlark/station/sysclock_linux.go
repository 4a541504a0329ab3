package station

import (
	"os"
	"syscall"
)

// timesyncdFlag is touched by systemd-timesyncd once it has set the clock
// (systemd-timesyncd.service(8), from memory).
const timesyncdFlag = "/run/systemd/timesync/synchronized"

// staUnsync is STA_UNSYNC of adjtimex(2).
const staUnsync = 0x40

// SystemClock says whether the system clock has been synchronised, and how
// that is known.
func SystemClock() (bool, string) {
	var x syscall.Timex
	if _, err := syscall.Adjtimex(&x); err == nil && x.Status&staUnsync == 0 {
		return true, "the system clock, synchronised (the kernel says so)"
	}
	if _, err := os.Stat(timesyncdFlag); err == nil {
		return true, "the system clock, synchronised by systemd-timesyncd"
	}
	return false, ""
}
