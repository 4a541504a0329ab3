//go:build unix

package sqlite

import (
	"path/filepath"
	"syscall"
)

// Free is how many bytes an ordinary user may still write to the file system
// that a file lies on; ok is false where that is not known.
func Free(path string) (bytes int64, ok bool) {
	var st syscall.Statfs_t
	if syscall.Statfs(filepath.Dir(path), &st) != nil {
		return 0, false
	}
	return int64(st.Bavail) * int64(st.Bsize), true
}
