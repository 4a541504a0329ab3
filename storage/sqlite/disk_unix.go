//go:build unix

package sqlite

import (
	"path/filepath"
	"syscall"
)

// diskFull says whether the file system under path has less than a few pages left.
func diskFull(path string) bool {
	var st syscall.Statfs_t
	if syscall.Statfs(filepath.Dir(path), &st) != nil {
		return false
	}
	return int64(st.Bavail)*int64(st.Bsize) < 64<<10
}
