package station

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"golang.org/x/sys/unix"
)

// slice is how long a thread of a station wants to run at a time, in ns; the
// shortest that Linux takes. A thread that wakes to bring an alarm on its way
// then need not wait until some other program has used up its slice of 3 ms and
// more. It costs nothing else: who asks for short slices gets as much in all.
const slice = 100_000

// shortSlices asks for short time slices for all threads of this process; threads
// that are made later take them over. It needs no right. Linux knows such a
// request from version 6.12 on (sched_setattr(2)); earlier ones ignore it. A
// thread that somebody has given another policy keeps it.
func shortSlices() error {
	threads, err := os.ReadDir("/proc/self/task")
	if err != nil {
		return fmt.Errorf("list the threads: %w", err)
	}
	for _, t := range threads {
		id, err := strconv.Atoi(t.Name())
		if err != nil {
			return fmt.Errorf("list the threads: %w", err)
		}
		switch attr, err := unix.SchedGetAttr(id, 0); {
		case err == unix.ESRCH: // it has ended
		case err != nil:
			return fmt.Errorf("read the policy of thread %d: %w", id, err)
		case attr.Policy == unix.SCHED_NORMAL:
			attr.Runtime = slice
			if err := unix.SchedSetAttr(id, attr, 0); err != nil && err != unix.ESRCH {
				return fmt.Errorf("set the time slice of thread %d: %w", id, err)
			}
		}
	}
	return nil
}

// memory is how much this process may use of the machine's, in bytes; 0 if that
// is not known.
func memory() uint64 {
	var s unix.Sysinfo_t
	if err := unix.Sysinfo(&s); err != nil {
		return 0
	}
	return min(uint64(s.Totalram)*uint64(s.Unit), shareOf("/proc/self/cgroup", "/sys/fs/cgroup"))
}

// shareOf is the smallest bound of memory that the control groups (version 2) of
// this process set, MaxUint64 if none does.
func shareOf(list, root string) uint64 {
	least := uint64(math.MaxUint64)
	text, err := os.ReadFile(list)
	if err != nil {
		return least
	}
	for line := range strings.Lines(string(text)) {
		path, ok := strings.CutPrefix(strings.TrimSpace(line), "0::")
		for ok {
			if bound, err := os.ReadFile(filepath.Join(root, path, "memory.max")); err == nil {
				if n, err := strconv.ParseUint(strings.TrimSpace(string(bound)), 10, 64); err == nil {
					least = min(least, n)
				}
			}
			if path == "/" || path == "." || path == "" {
				break
			}
			path = filepath.Dir(path)
		}
	}
	return least
}
