package storage

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

// tryLock locks one byte far behind the text; the system gives it up with the
// process.
func tryLock(f *os.File) (held bool, err error) {
	at := windows.Overlapped{OffsetHigh: 1}
	err = windows.LockFileEx(windows.Handle(f.Fd()), windows.LOCKFILE_EXCLUSIVE_LOCK|windows.LOCKFILE_FAIL_IMMEDIATELY, 0, 1, 0, &at)
	if errors.Is(err, windows.ERROR_LOCK_VIOLATION) {
		return false, nil
	}
	return err == nil, err
}
