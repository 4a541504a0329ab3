//go:build unix

package storage

import (
	"errors"
	"os"
	"syscall"
)

// tryLock takes an exclusive flock. The kernel gives it up with the process,
// however that ends, so there is never a stale lock to clean away.
func tryLock(f *os.File) (held bool, err error) {
	err = syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if errors.Is(err, syscall.EWOULDBLOCK) {
		return false, nil
	}
	return err == nil, err
}
