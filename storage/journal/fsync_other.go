//go:build !linux

package journal

import "os"

func fsync(f *os.File) error { return f.Sync() }
