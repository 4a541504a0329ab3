package storage

import (
	"errors"
	"fmt"
	"os"
	"strconv"
	"strings"
)

// ErrLocked is returned when another process holds a folder or file.
var ErrLocked = errors.New("in use by another padlark")

// Lock keeps every other process from using the same files.
type Lock struct{ f *os.File }

// LockFile takes the lock that the file at path stands for, and writes the
// process number into it. The error wraps ErrLocked if another process holds it.
func LockFile(path string) (*Lock, error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o644)
	if err != nil {
		return nil, fmt.Errorf("open lock file: %w", err)
	}
	held, err := tryLock(f)
	if err != nil {
		f.Close()
		return nil, fmt.Errorf("lock %s: %w", path, err)
	}
	if !held {
		who := holder(f)
		f.Close()
		return nil, fmt.Errorf("%s: %w%s", path, ErrLocked, who)
	}
	// The number only helps a person; the lock holds without it, so a full disk
	// must not keep the daemon from starting.
	if f.Truncate(0) == nil {
		_, _ = f.WriteAt([]byte(strconv.Itoa(os.Getpid())+"\n"), 0)
	}
	return &Lock{f}, nil
}

func holder(f *os.File) string {
	var b [32]byte
	n, _ := f.ReadAt(b[:], 0)
	pid := strings.TrimSpace(string(b[:n]))
	if _, err := strconv.Atoi(pid); err != nil {
		return ""
	}
	return " (process " + pid + ")"
}

// Unlock gives the lock up. The file stays: removing it would let two
// processes each lock a file of the same name.
func (l *Lock) Unlock() error {
	if l == nil || l.f == nil {
		return nil
	}
	err := l.f.Close()
	l.f = nil
	return err
}
